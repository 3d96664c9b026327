"""Radial rates on agar against the days in which the sources of the species table report a full dish.

The abstracts of the sources were read when the table was made; the ranges allow for their resolution (a day, or a plug
of 5 to 8 mm). Rates in the table from memory or practice have no such source and are not checked.
"""

import numpy as np
import pytest

from calibration import find_species
from growth.fit import RadialRate, fit_radial_rate
from tests.outside.conftest import Tell
from tests.values import known

#: Species; radius of the dish, mm; days until it was full; source.
DISHES = [
    (
        "oyster",
        45.0,
        (5.5, 6.0),
        "Abdel Aziz et al. 2018, Arab Univ. J. Agric. Sci. 26(3): 90 mm within 6 days",
    ),
    ("reishi", 45.0, (11.5, 12.5), "a 2019 abstract, Cohesive J. Microbiol. Infect. Dis. 2(5): 90 mm in 12 days"),
]


@pytest.mark.parametrize(("name", "dish_mm", "days", "source"), DISHES, ids=[one[0] for one in DISHES])
def test_the_rate_fills_the_dish_in_the_days_of_its_source(name, dish_mm, days, source, tell: Tell) -> None:
    rate = known(find_species(name)).radial_mm_per_day.value
    low, high = (dish_mm - 4.0) / days[1], dish_mm / days[0]
    assert low <= rate <= high
    tell(f"radial rate of {name} on agar, mm a day", source, f"{low:.1f} to {high:.1f}", f"{rate:g}")


@pytest.mark.parametrize(("name", "dish_mm", "days", "source"), DISHES, ids=[one[0] for one in DISHES])
def test_the_rate_is_recovered_from_a_colony_that_fills_the_dish(name, dish_mm, days, source, tell: Tell) -> None:
    """Daily radii by arithmetic from a plug of 2.5 mm, cut by the rim, fitted like readings."""
    true = (dish_mm - 2.5) / np.mean(days)
    when = np.arange(0.0, 20.0)
    radii = np.minimum(2.5 + true * when, dish_mm)
    found = fit_radial_rate(when, radii, dish_radius_mm=dish_mm, start_radius_mm=2.5)
    assert isinstance(found, RadialRate)
    assert found.mm_per_day == pytest.approx(true, rel=1e-6)
    tell(f"the same from daily radii of such a colony ({name})", "arithmetic", f"{true:.3f}", f"{found.mm_per_day:.3f}")
