"""A person's estimates beside the readings of the same vessels: a check against one's own eye."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator

from farm.records import Line, Moment, Percent, TableRow, VesselId, list_readings, read_table
from farm.records.models import KeptReading
from farm.store import Farm, days_between, to_instant
from farm.store.errors import InputFileError
from farm.study.agreement_stats import MethodAgreement, agreement_of

_HOURS_PER_DAY = 24.0


class EyeRow(TableRow):
    """A row of a table of estimates: one vessel, judged by its photo, or on the shelf at a time."""

    vessel: VesselId
    percent: Percent
    photo: str = ""
    taken_at: Annotated[Moment | None, BeforeValidator(lambda text: text or None)] = None


@dataclass(frozen=True)
class EyePair:
    """An estimate by eye and the reading it belongs to."""

    by_eye: float
    reading: KeptReading

    @property
    def difference(self) -> float:
        """Reading minus eye, points of percent."""
        return (self.reading.percent or 0.0) - self.by_eye


@dataclass(frozen=True)
class EyeCheck:
    """Eye against readings. pairs: those that differ most first. unmatched: line numbers and why they have no reading.

    agreement: None where no estimate has a reading. Differences are reading minus eye.
    """

    pairs: tuple[EyePair, ...]
    unmatched: tuple[tuple[int, str], ...]
    agreement: MethodAgreement | None

    @property
    def n_vessels(self) -> int:
        """Vessels that have a pair."""
        return len({pair.reading.vessel for pair in self.pairs})


def check_by_eye(farm: Farm, table: Path, *, within_hours: float = 12.0) -> EyeCheck:
    """Each row of a CSV (vessel, percent, and photo or taken_at) beside its reading. Raises InputFileError.

    A photo is known by its file name. Without one the vessel's reading nearest to taken_at is taken, if it is not
    farther off than within_hours.
    """
    lines = read_table(table, EyeRow, farm.settings.date_order)
    if lost := [line.number for line in lines if not line.row.photo and line.row.taken_at is None]:
        raise InputFileError(str(table), [f"line {number}: fill in photo or taken_at" for number in lost])
    by_vessel: dict[str, list[KeptReading]] = {}
    for reading in list_readings(farm):
        if reading.vessel is not None and reading.status == "ok":
            by_vessel.setdefault(reading.vessel, []).append(reading)
    pairs: list[EyePair] = []
    unmatched: list[tuple[int, str]] = []
    for line in lines:
        found = _reading_of(line, by_vessel.get(line.row.vessel, []), farm, within_hours)
        if isinstance(found, str):
            unmatched.append((line.number, found))
        else:
            pairs.append(EyePair(line.row.percent, found))
    ordered = tuple(sorted(pairs, key=lambda pair: -abs(pair.difference)))
    if not pairs:
        return EyeCheck((), tuple(unmatched), None)
    read = [one.reading.percent or 0.0 for one in pairs]
    return EyeCheck(ordered, tuple(unmatched), agreement_of([one.by_eye for one in pairs], read))


def _reading_of(
    line: Line[EyeRow], readings: Sequence[KeptReading], farm: Farm, within_hours: float
) -> KeptReading | str:
    """The reading that a row refers to, or why there is none."""
    row = line.row
    name = Path(row.photo.replace("\\", "/")).name
    if not readings:
        return f"{row.vessel} has no reading"
    if row.photo:
        named = [one for one in readings if Path(one.photo).name == name]
        if len(named) <= 1:
            return named[0] if named else f"{row.vessel} has no reading of {name}"
        readings = named
    if row.taken_at is None:
        return f"{row.vessel} has readings of {len(readings)} photos named {name}: fill in taken_at too"
    judged_at = to_instant(row.taken_at, farm.zone)
    nearest = min(readings, key=lambda one: _hours(one.taken_at, judged_at))
    hours = _hours(nearest.taken_at, judged_at)
    if hours > within_hours:
        return f"{row.vessel} has no reading within {within_hours:g} hours of it (the nearest: {hours:.0f})"
    return nearest


def _hours(one: datetime, other: datetime) -> float:
    return abs(days_between(one, other)) * _HOURS_PER_DAY
