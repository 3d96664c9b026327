"""The steps that the benchmark of speed times are functions that exist."""

from benchmarks.speed.steps import STEPS


def test_every_step_names_functions_of_its_module() -> None:
    missing = [name for _, place, names in STEPS for name in names if not callable(getattr(place, name, None))]
    assert missing == []
    assert len(STEPS) > 10
