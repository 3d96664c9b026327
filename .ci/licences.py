"""Prints the licence of everything that the installed program brings with it; exit code 1 where one is not permissive.

python .ci/licences.py
"""

import re
import sys
from collections.abc import Iterator
from importlib.metadata import Distribution, distribution

from packaging.requirements import Requirement

#: Licences that ask for no more than a notice, by SPDX identifier.
PERMISSIVE = frozenset(
    ("0BSD", "Apache-2.0", "BSD", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "HPND", "ISC", "MIT", "MIT-0", "MIT-CMU",
     "PSF-2.0", "Unlicense", "Zlib")
)  # fmt: skip
#: What older metadata says in words.
_IN_WORDS = {
    "apache software license": "Apache-2.0",
    "apache 2.0": "Apache-2.0",
    "3-clause bsd license": "BSD-3-Clause",
    "bsd license": "BSD",
    "isc license (iscl)": "ISC",
    "mit license": "MIT",
    "python software foundation license": "PSF-2.0",
}
#: Looked into by hand, where the metadata says more than one thing; see docs/dependencies.md.
_BY_HAND = {"pi-heif": "BSD-3-Clause"}


def licences(root: str = "spawnrun") -> dict[str, str]:
    """Licence by name of every distribution that the root needs to run, itself included."""
    return {name: licence_of(found) for name, found in sorted(_needed(root, {}).items())}


def licence_of(found: Distribution) -> str:
    """As SPDX where the metadata says so or in known words; else the words, "" for none."""
    facts = found.metadata
    if (by_hand := _BY_HAND.get(plain(facts["Name"]))) is not None:
        return by_hand
    if expression := facts.get("License-Expression"):
        return expression
    marks = [
        one.rsplit("::", 1)[-1].strip() for one in facts.get_all("Classifier") or [] if one.startswith("License ::")
    ]
    said = next((one for one in marks if one != "OSI Approved"), (facts.get("License") or "").strip().split("\n")[0])
    return _IN_WORDS.get(said.lower(), said)


def is_permissive(licence: str) -> bool:
    """Whether every part of an expression is (for OR, one is enough)."""
    parts = re.split(r"\s+AND\s+", licence.strip("() "))
    return all(any(one.strip("() ") in PERMISSIVE for one in re.split(r"\s+OR\s+", part)) for part in parts)


def _needed(name: str, seen: dict[str, Distribution]) -> dict[str, Distribution]:
    if plain(name) not in seen:
        seen[plain(name)] = found = distribution(name)
        for one in requirements(found):
            _needed(one.name, seen)
    return seen


def requirements(found: Distribution) -> Iterator[Requirement]:
    """What a distribution needs on this system, without extras."""
    for text in found.requires or []:
        one = Requirement(text)
        if one.marker is None or one.marker.evaluate({"extra": ""}):
            yield one


def plain(name: str) -> str:
    """The name of a distribution as it is compared (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


if __name__ == "__main__":
    strangers = []
    for package, licence in licences().items():
        print(f"{package:24} {licence}")
        strangers += [] if is_permissive(licence) else [package]
    if strangers:
        sys.exit(f"not known as permissive: {', '.join(strangers)}")
