"""The cardinal temperature model at its defining points (Rosso, Lobry & Flandrois 1993, J. Theor. Biol. 162:
447-463)."""

import numpy as np
import pytest

from calibration import find_species
from growth.data.temperature import pace_factor, relative_rate
from tests.values import known


def test_growth_is_fastest_at_the_optimum_and_zero_outside_the_limits():
    assert relative_rate(25, 5, 25, 33) == pytest.approx(1.0)
    assert relative_rate(5, 5, 25, 33) == relative_rate(33, 5, 25, 33) == relative_rate(-10, 5, 25, 33) == 0.0
    rates = [relative_rate(t, 5, 25, 33) for t in np.arange(5, 33, 0.25)]
    assert max(rates) == pytest.approx(1.0)
    assert (np.diff(rates[: rates.index(max(rates))]) > 0).all()


def test_rates_of_king_oyster_follow_published_ones():
    """Soylu et al. 2016 (Acta Hort. 1123: 207-214): 0.9, 2.84, 3.35, 2.39 mm a day at 15, 20, 25, 30 C.

    The model has three numbers and no fit was made, so a quarter of the best rate is allowed.
    """
    species = known(find_species("king oyster"))
    cardinal = (species.temperature_min_c.value, species.temperature_optimum_c.value, species.temperature_max_c.value)
    for temperature, rate in ((15, 0.9), (20, 2.84), (25, 3.35), (30, 2.39)):
        assert relative_rate(temperature, *cardinal) == pytest.approx(rate / 3.35, abs=0.25)


def test_an_unknown_species_or_temperature_has_no_effect():
    assert pace_factor(None, 12.0) == 1.0
    assert pace_factor(find_species("oyster"), None) == 1.0


def test_a_temperature_below_the_minimum_gives_a_finite_prior():
    assert pace_factor(find_species("oyster"), -5.0) == 0.2
