"""Invalid settings are refused with the name of the setting."""

import pytest

from farm.store import Farm, open_farm
from farm.store.errors import SettingsError


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a = " + "[" * 5000 + "]" * 5000, "nested too deeply"),
        ("days_ahead = " + "9" * 5000, "a number of too many digits"),
        ("[species.x]\nlike = " + "{a = " * 300 + "1" + "}" * 300, "species.x.like: not a text in quotes"),
        ("plan = 3", "plan: must be a table of names and values"),
        ("species = [1]", "species: must be a table of names and values"),
        ("[species]\noyster = []", "species.oyster: must be a table of names and values"),
        ("[species.x]\nlike = 'oyster'\npace = 3", "species.x.pace: must be a list in square brackets"),
        ("records = [1]\ntime_zone = {a = 1}", "records: not a text in quotes"),
    ],
)
def test_nested_settings_are_refused_by_name(farm: Farm, text: str, said: str) -> None:
    (farm.folder / "farm.toml").write_text(text)
    with pytest.raises(SettingsError, match=r"farm\.toml") as refused:
        open_farm(farm.folder)
    assert said in str(refused.value)
    assert "nput should be" not in str(refused.value)
