"""The usable readings of vessels, read from the records when somebody asks for them."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from farm.records import combine_faces, list_events, list_readings, wrong_readings
from farm.records.models import Event, KeptReading
from farm.store import Farm

#: Vessels whose readings are read from the database at once.
AT_ONCE = 200


@dataclass(frozen=True)
class VesselReadings:
    """A vessel's readings, oldest first.

    faces: those that have a percent, as read, each side by itself, those too that a person found wrong. series: without
    the wrong ones, front and back combined. left_out: the wrong ones. without_percent: photos that could bear no
    percent but show a suspect. refused: the newest photo, if neither side could bear a percent in it.
    """

    faces: tuple[KeptReading, ...] = ()
    series: tuple[KeptReading, ...] = ()
    left_out: tuple[KeptReading, ...] = ()
    without_percent: tuple[KeptReading, ...] = ()
    refused: KeptReading | None = None

    @property
    def looked_at(self) -> tuple[KeptReading, ...]:
        """All that a person may look at, oldest first: those with a percent, and those that only show a suspect."""
        return self._with_what_only_shows(self.faces)

    @property
    def pictured(self) -> tuple[KeptReading, ...]:
        """The series with those that only show a suspect, oldest first: no points of a curve, but to be looked at."""
        return self._with_what_only_shows(self.series)

    def _with_what_only_shows(self, readings: tuple[KeptReading, ...]) -> tuple[KeptReading, ...]:
        if not self.without_percent:
            return readings
        return tuple(sorted((*readings, *self.without_percent), key=lambda one: one.taken_at))


def readings_of(farm: Farm, ids: Collection[str]) -> dict[str, VesselReadings]:
    """The readings of some vessels up to the farm's now, by id, as the records have them at this call."""
    return dict(readings_in_parts(farm, ids))


def readings_in_parts(farm: Farm, ids: Collection[str]) -> Iterator[tuple[str, VesselReadings]]:
    """The same, vessel by vessel in the order given; only those of AT_ONCE vessels are held in memory."""
    wrong, moment = wrong_readings(farm), farm.now
    for some in in_parts(list(ids)):
        shakes = shakes_by_vessel(list_events(farm, some), moment)
        yield from readings_until(farm, some, shakes, moment, wrong).items()


def readings_until(
    farm: Farm,
    ids: Collection[str],
    shaken_at: Mapping[str, Sequence[datetime]],
    moment: datetime,
    wrong: Collection[str] = (),
) -> dict[str, VesselReadings]:
    """The readings of some vessels up to a moment, by id. wrong: keys of readings that a person found wrong."""
    found: dict[str, list[KeptReading]] = {vessel: [] for vessel in ids}
    for reading in list_readings(farm, vessels=found):
        if reading.vessel is not None and reading.taken_at <= moment:
            found[reading.vessel].append(reading)
    return {vessel: _sorted_out(faces, shaken_at.get(vessel, ()), wrong) for vessel, faces in found.items()}


def _sorted_out(
    readings: Sequence[KeptReading], shaken_at: Sequence[datetime], wrong: Collection[str]
) -> VesselReadings:
    faces = [one for one in readings if one.status == "ok"]
    without_percent = tuple(one for one in readings if one.status != "ok" and one.suspects)
    since = [one for one in readings if not faces or one.taken_at > faces[-1].taken_at]
    refused = since[-1] if since else None
    trusted = [one for one in faces if one.key not in wrong]
    left_out = tuple(one for one in faces if one.key in wrong)
    return VesselReadings(tuple(faces), tuple(combine_faces(trusted, shaken_at)), left_out, without_percent, refused)


def in_parts(ids: Sequence[str]) -> Iterator[Sequence[str]]:
    """The ids in parts of AT_ONCE."""
    return (ids[start : start + AT_ONCE] for start in range(0, len(ids), AT_ONCE))


def shakes_by_vessel(events: Iterable[Event], until: datetime | None) -> dict[str, tuple[datetime, ...]]:
    """When each vessel was shaken, up to a moment (None: ever)."""
    shakes: dict[str, tuple[datetime, ...]] = {}
    for event in events:
        if event.event == "shaken" and (until is None or event.at <= until):
            shakes[event.vessel] = (*shakes.get(event.vessel, ()), event.at)
    return shakes
