"""How readings agree with a truth that is known from elsewhere."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, Field

from farm.outlook import Moments, Outlook
from farm.records import Moment, Percent, TableRow, VesselId, read_table
from farm.records.models import KeptReading
from farm.store import to_instant


class TruthDayRow(TableRow):
    """A row of a table of true days: when a vessel's true percent comes to the threshold, or what stops it."""

    vessel: VesselId
    through: Annotated[Moment | None, BeforeValidator(lambda text: text or None)] = None
    fate: str = ""


@dataclass(frozen=True)
class DayAgreement:
    """The forecast day of a vessel beside the true one. held: whether the true one lies in the 80 % interval, or None.

    fate: why there is no true day. status: what the forecast calls the vessel.
    """

    vessel: str
    forecast: Moments
    truth: datetime | None
    held: bool | None
    status: str
    fate: str


class TruthRow(TableRow):
    """A row of a table of truth: one vessel in one photo."""

    vessel: VesselId
    photo: Annotated[str, Field(min_length=1)]
    percent: Percent
    contaminated: Annotated[bool, BeforeValidator(lambda text: {"yes": True, "no": False}.get(str(text).lower(), text))]


@dataclass(frozen=True)
class Agreement:
    """A vessel's readings beside the truth, over the photos that have both; percents are 0-100.

    read and truth are those of the newest photo. flagged_in: how many of the photos in which it was contaminated
    have a suspect; false_flags: how many of the others have one.
    """

    vessel: str
    n_photos: int
    n_read: int
    read: float | None
    truth: float
    mean_error: float | None
    contaminated_in: int
    flagged_in: int
    false_flags: int


def compare_with_truth(readings: Sequence[KeptReading], truth: Path) -> list[Agreement]:
    """Each vessel of the table beside its readings, by vessel. Raises InputFileError.

    A photo is known by its file name. mean_error is the mean of the absolute differences, in points of percent.
    """
    by_photo = {(one.vessel, Path(one.photo).name): one for one in readings}
    rows: dict[str, list[TruthRow]] = {}
    for line in read_table(truth, TruthRow):
        rows.setdefault(line.row.vessel, []).append(line.row)
    return [_agreement(vessel, rows[vessel], by_photo) for vessel in sorted(rows)]


def mean_error_of(agreements: Sequence[Agreement]) -> float | None:
    """The mean error over all readings of all vessels, points of percent; None without a reading."""
    errors = [(one.mean_error, one.n_read) for one in agreements if one.mean_error is not None]
    n_read = sum(n for _, n in errors)
    return sum(error * n for error, n in errors) / n_read if n_read else None


def compare_days(outlooks: Sequence[Outlook], truth: Path, zone: tzinfo | None) -> list[DayAgreement]:
    """Each vessel's day of colonised through beside the true one, by vessel. Raises InputFileError."""
    by_vessel = {one.vessel.id: one for one in outlooks}
    rows = sorted((line.row for line in read_table(truth, TruthDayRow)), key=lambda row: row.vessel)
    return [_day(by_vessel[row.vessel], row, zone) for row in rows if row.vessel in by_vessel]


def _day(outlook: Outlook, row: TruthDayRow, zone: tzinfo | None) -> DayAgreement:
    through = outlook.through
    true = None if row.through is None else to_instant(row.through, zone)
    held = None
    if true is not None and through.low is not None:
        held = through.low <= true and (through.high is None or true <= through.high)
    return DayAgreement(row.vessel, through, true, held, outlook.forecast.status, row.fate)


def _agreement(vessel: str, rows: Sequence[TruthRow], by_photo: dict[tuple[str | None, str], KeptReading]) -> Agreement:
    pairs = [(row, by_photo.get((vessel, Path(row.photo).name))) for row in rows]
    both = [(row, one) for row, one in pairs if one is not None and one.percent is not None]
    errors = [abs((one.percent or 0.0) - row.percent) for row, one in both]
    return Agreement(
        vessel=vessel,
        n_photos=len(rows),
        n_read=len(both),
        read=both[-1][1].percent if both and both[-1][0] is rows[-1] else None,
        truth=rows[-1].percent,
        mean_error=sum(errors) / len(errors) if errors else None,
        contaminated_in=sum(row.contaminated for row in rows),
        flagged_in=sum(row.contaminated and bool(one.suspects) for row, one in both),
        false_flags=sum(not row.contaminated and bool(one.suspects) for row, one in both),
    )
