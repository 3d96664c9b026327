"""The recording and the outcomes of a run, kept in a folder so that a later run can go on from them."""

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path

from benchmarks.constants.literals import Literal
from benchmarks.constants.shifts import Record, Shifted

_NOT_TESTED = ("benchmarks", "training")


class Kept:
    """What is known of one package at one state of the source: a subfolder named by package and digest.

    folder: None keeps nothing.
    """

    def __init__(self, folder: Path | None, package: str, tree: Path) -> None:
        self.folder = folder and folder / f"{package}-{source_digest(tree)}"
        if self.folder:
            self.folder.mkdir(parents=True, exist_ok=True)

    def record(self, make: Callable[[], Record]) -> Record:
        """The kept recording, or the one that ``make`` returns, which is then kept."""
        file = self.folder and self.folder / "record.json"
        if file and file.is_file():
            return Record(**json.loads(file.read_text("utf-8")))
        made = make()
        if file:
            file.write_text(json.dumps(asdict(made)), "utf-8")
        return made

    def outcomes(self) -> dict[tuple[str, Literal], Shifted]:
        """Outcomes of earlier runs, by file and number."""
        return {(one.file, one.literal): one for one in self._read()}

    def add(self, shifted: Shifted) -> None:
        """Keep one outcome."""
        if self.folder:
            with (self.folder / "outcomes.jsonl").open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(shifted)) + "\n")

    def _read(self) -> Iterator[Shifted]:
        file = self.folder and self.folder / "outcomes.jsonl"
        if file and file.is_file():
            for line in file.read_text("utf-8").splitlines():
                fields = json.loads(line)
                yield Shifted(**fields | {"literal": Literal(**fields["literal"])})


def source_digest(tree: Path) -> str:
    """16 hexadecimal digits that change with any Python file of the program or its tests."""
    digest = hashlib.sha256()
    for file in sorted(tree.rglob("*.py")):
        name = file.relative_to(tree)
        if name.parts[0] not in _NOT_TESTED:
            digest.update(f"{name.as_posix()}\0".encode() + file.read_bytes() + b"\0")
    return digest.hexdigest()[:16]
