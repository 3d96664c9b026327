"""Writes what a release brings with it: a software bill of materials in CycloneDX 1.6 (ECMA-424), as JSON.

    python .ci/sbom.py WHEEL BILL.cdx.json

Versions and SHA-256 come from requirements-lock.txt; licences and who needs whom from what is installed here. A library
that only another system needs is listed without them. Libraries inside the wheels of others are not listed.
"""

import datetime
import hashlib
import os
import re
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from cyclonedx.contrib.license.factories import LicenseFactory
from cyclonedx.model import ExternalReference, ExternalReferenceType, HashAlgorithm, HashType, Property, XsUri
from cyclonedx.model.bom import Bom
from cyclonedx.model.component import Component, ComponentType
from cyclonedx.output.json import JsonV1Dot6
from licences import licence_of, plain, requirements
from packageurl import PackageURL
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]


def bill(wheel: Path) -> str:
    """The bill of a wheel. The same wheel, lock and SOURCE_DATE_EPOCH give the same text."""
    name, version = wheel.name.split("-")[:2]
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    root = Component(
        type=ComponentType.APPLICATION,
        name=name,
        version=version,
        bom_ref=f"{name}@{version}",
        licenses=[LicenseFactory().make_from_string(project["license"])],
        hashes=[HashType(alg=HashAlgorithm.SHA_256, content=hashlib.sha256(wheel.read_bytes()).hexdigest())],
    )
    parts = {plain(one.name): one for one in map(_component, _locked(ROOT / "requirements-lock.txt"))}
    made = Bom(components=parts.values())
    made.metadata.component = root
    made.metadata.timestamp = datetime.datetime.fromtimestamp(int(os.environ["SOURCE_DATE_EPOCH"]), datetime.UTC)
    direct = [plain(Requirement(one).name) for one in project["dependencies"]]
    made.register_dependency(root, [parts[needed] for needed in direct])
    for one in parts.values():
        made.register_dependency(one, [parts[needed] for needed in _needs(one.name) if needed in parts])
    # The serial number is random, which would make each bill another one; it may be left out.
    return re.sub(r'\n  "serialNumber": "[^"]+",', "", JsonV1Dot6(made).output_as_string(indent=2)) + "\n"


def _locked(lock: Path) -> Iterator[tuple[Requirement, list[str]]]:
    """Each pinned requirement with the SHA-256 of its files."""
    lines = re.sub(r"^#.*\n", "", lock.read_text("utf-8"), flags=re.M).replace("\\\n", " ").splitlines()
    for line in lines:
        yield Requirement(line.split("--hash")[0].strip()), re.findall(r"--hash=sha256:(\w+)", line)


def _component(pinned: tuple[Requirement, list[str]]) -> Component:
    requirement, sums = pinned
    name, version = requirement.name, next(iter(requirement.specifier)).version
    purl = PackageURL("pypi", name=plain(name), version=version)
    files = ExternalReference(
        type=ExternalReferenceType.DISTRIBUTION,
        url=XsUri(purl.to_string()),
        comment="any of these files, by system",
        hashes=[HashType(alg=HashAlgorithm.SHA_256, content=one) for one in sums],
    )
    licence = _licence(name)
    return Component(
        type=ComponentType.LIBRARY,
        name=name,
        version=version,
        purl=purl,
        bom_ref=purl.to_string(),
        external_references=[files],
        licenses=[LicenseFactory().make_from_string(licence)] if licence else [],
        properties=[Property(name="installed where", value=str(requirement.marker))] if requirement.marker else [],
    )


def _licence(name: str) -> str:
    try:
        return licence_of(distribution(name))
    except PackageNotFoundError:  # only another system needs it
        return ""


def _needs(name: str) -> list[str]:
    try:
        return sorted({plain(one.name) for one in requirements(distribution(name))})
    except PackageNotFoundError:
        return []


if __name__ == "__main__":
    Path(sys.argv[2]).write_text(bill(Path(sys.argv[1])), encoding="utf-8")
