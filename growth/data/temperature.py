"""How much faster or slower a species grows at a temperature than at the usual one of the species table."""

from calibration import Species

#: Room temperature of the usual paces in the species table (common practice, no source).
USUAL_TEMPERATURE_C = 23.0
_SLOWEST, _FASTEST = 0.2, 2.0  # limits, so that a place outside the species' range gets a finite prior


def relative_rate(temperature_c: float, minimum_c: float, optimum_c: float, maximum_c: float) -> float:
    """Growth rate relative to that at the optimum, 0-1: the cardinal temperature model.

    ``(T-Tmax)(T-Tmin)^2 / ((Topt-Tmin) ((Topt-Tmin)(T-Topt) - (Topt-Tmax)(Topt+Tmin-2T)))``.
    Rosso, Lobry & Flandrois 1993, J. Theor. Biol. 162: 447-463 (formula from memory).
    """
    if not minimum_c < temperature_c < maximum_c:
        return 0.0
    above = (temperature_c - maximum_c) * (temperature_c - minimum_c) ** 2
    below = (optimum_c - minimum_c) * (
        (optimum_c - minimum_c) * (temperature_c - optimum_c)
        - (optimum_c - maximum_c) * (optimum_c + minimum_c - 2.0 * temperature_c)
    )
    return max(above / below, 0.0) if below else 0.0


def pace_factor(species: Species | None, temperature_c: float | None) -> float:
    """Growth rate at ``temperature_c`` divided by that at the usual temperature; 1 where either is unknown."""
    if species is None or temperature_c is None:
        return 1.0
    cardinal = (
        species.temperature_min_c.value,
        species.temperature_optimum_c.value,
        species.temperature_max_c.value,
    )
    here, usual = relative_rate(temperature_c, *cardinal), relative_rate(USUAL_TEMPERATURE_C, *cardinal)
    return min(max(here / max(usual, 1e-6), _SLOWEST), _FASTEST)
