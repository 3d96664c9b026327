"""What stands on the screen, in the language of the phone: one file for each language, all with the same keys."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from importlib.resources import files

#: Languages by code, as their speakers call them; the first is that of a phone that asks for none of them.
LANGUAGES = {"en": "English", "de": "Deutsch"}


@dataclass(frozen=True)
class Words:
    """The words of one language."""

    language: str
    texts: Mapping[str, str]

    def __call__(self, key: str, n: int | None = None, /, **values: object) -> str:
        """The text of a key with its values filled in; n: a number that chooses between singular and plural."""
        if n is not None:
            key, values = f"{key}.{'one' if n == 1 else 'many'}", {"n": n, **values}
        text = self.texts[key]
        return text.format(**values) if values else text

    def has(self, key: str) -> bool:
        """Whether there is such a text."""
        return key in self.texts

    def known(self, group: str, name: str) -> str:
        """The text of a name that the records use; the name itself where this language has no word for it."""
        return self.texts.get(f"{group}.{name.replace(' ', '_')}", name.replace("_", " "))

    def done(self, what: str, use: str) -> str:
        """What was done with a vessel of a use: "opened" means another thing of what will fruit than of a jar."""
        return self.known("done", what if what != "opened" or use == "fruiting" else "opened_only")

    def day(self, moment: date) -> str:
        """A day such as "Mon 16 Mar"."""
        return self("day", week=self.list("weekdays")[moment.weekday()], day=moment.day, month=self._month(moment))

    def short_day(self, moment: date) -> str:
        """A day such as "16 Mar"."""
        return self("short_day", day=moment.day, month=self._month(moment))

    def time(self, moment: datetime) -> str:
        """A day and a time, such as "Mon 16 Mar, 18:00"."""
        return f"{self.day(moment)}, {moment:%H:%M}"

    def list(self, key: str) -> list[str]:
        """A text of several words, apart."""
        return self(key).split()

    def _month(self, moment: date) -> str:
        return self.list("months")[moment.month - 1]


@lru_cache(maxsize=len(LANGUAGES))
def words_of(language: str) -> Words:
    """The words of a language of LANGUAGES."""
    source = files("phone") / "words" / f"{language}.toml"
    return Words(language, _flat(tomllib.loads(source.read_text("utf-8"))))


def chosen_language(wanted: str, accepted: str) -> str:
    """The language that a phone asked for (wanted), else the first that its browser accepts, else the first."""
    asked = [wanted, *(one.split(";")[0].strip()[:2].lower() for one in accepted.split(","))]
    return next((one for one in asked if one in LANGUAGES), next(iter(LANGUAGES)))


def _flat(table: Mapping[str, object], before: str = "") -> dict[str, str]:
    flat: dict[str, str] = {}
    for name, value in table.items():
        if isinstance(value, dict):
            flat |= _flat(value, f"{before}{name}.")
        else:
            flat[f"{before}{name}"] = str(value)
    return flat
