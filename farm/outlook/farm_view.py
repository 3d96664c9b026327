"""All vessels of a farm at a moment, with their readings fetched only where somebody asks for them."""

from collections import OrderedDict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, overload

from farm.measure import read_stale_series
from farm.outlook.vessel_summary import Summary, keep_summaries, kept_summaries, summary_of
from farm.records import combine_faces, list_events, list_readings, list_vessels, wrong_readings
from farm.records.models import Event, KeptReading, Vessel
from farm.store import Farm, days_between

if TYPE_CHECKING:
    from growth.data import Series

#: Vessels whose readings are fetched at once, and whose readings are held for who asks again.
AT_ONCE, _HELD = 200, 400


@dataclass(frozen=True)
class KnownReadings:
    """A vessel's readings: as read, front and back made one series, and what of them a person found wrong."""

    faces: tuple[KeptReading, ...]
    combined: tuple[KeptReading, ...]
    left_out: tuple[KeptReading, ...]


@dataclass
class Shelf:
    """The vessels by id, what was done to them, and what their readings come to.

    moment: from which the farm speaks. wrong: keys of the readings that a person found wrong, with their vessels.
    """

    farm: Farm
    vessels: tuple[Vessel, ...]
    shakes: dict[str, list[datetime]]
    summaries: dict[str, Summary]
    moment: datetime
    wrong: Mapping[str, str]
    _held: "OrderedDict[str, KnownReadings]" = field(default_factory=OrderedDict)
    _series: "dict[str, Series]" = field(default_factory=dict)

    def known(self, vessel: str) -> KnownReadings:
        """The readings of a vessel, up to the moment."""
        if vessel not in self._held:
            self.fetch([vessel])
        self._held.move_to_end(vessel)
        return self._held[vessel]

    def fetch(self, ids: Collection[str]) -> None:
        """Fetch the readings of some vessels in one go, where they are not at hand."""
        found: dict[str, list[KeptReading]] = {vessel: [] for vessel in ids if vessel not in self._held}
        for reading in list_readings(self.farm, vessels=found):
            if reading.status == "ok" and reading.vessel is not None and reading.taken_at <= self.moment:
                found[reading.vessel].append(reading)
        for vessel, faces in found.items():
            self._held[vessel] = self._sorted_out(vessel, faces)
        while len(self._held) > _HELD + len(ids):
            self._held.popitem(last=False)

    def series(self, vessel: Vessel) -> "Series":
        """A vessel's readings as growth takes them."""
        if vessel.id not in self._series:
            known, room_c = self.known(vessel.id), self.farm.settings.temperature_c
            shaken_at = self.shakes.get(vessel.id, ())
            self._series[vessel.id] = series_of(vessel, known.combined, shaken_at, self.moment, room_c)
        return self._series[vessel.id]

    def take_series(self, other: "Shelf", but: Collection[str]) -> None:
        """Take over what another shelf has made, spoken from this one's moment; but: not of these vessels."""
        for one in self.vessels:
            if one.id in other._series and one.id not in but:
                as_of_day = max(0.0, days_between(one.inoculated_at, self.moment))
                self._series[one.id] = replace(other._series[one.id], as_of_day=as_of_day)

    def all_series(self, ids: Collection[str] | None = None) -> "list[Series]":
        """Those of all vessels, or of some, in their order."""
        wanted = [one for one in self.vessels if ids is None or one.id in ids]
        for some in _in_parts([one for one in wanted if one.id not in self._series]):
            self.fetch([one.id for one in some])
            for one in some:
                self.series(one)
        return [self.series(one) for one in wanted]

    def summarise(self, ids: Collection[str]) -> dict[str, Summary]:
        """The summaries of some vessels as of the moment, made from their readings."""
        made: dict[str, Summary] = {}
        for some in _in_parts([one for one in self.vessels if one.id in ids]):
            self.fetch([one.id for one in some])
            for one in some:
                known = self.known(one.id)
                made[one.id] = summary_of(known.faces, known.combined, self.series(one))
        return made

    def _sorted_out(self, vessel: str, faces: Sequence[KeptReading]) -> KnownReadings:
        trusted = [one for one in faces if one.key not in self.wrong]
        left_out = tuple(one for one in faces if one.key in self.wrong)
        return KnownReadings(tuple(faces), tuple(combine_faces(trusted, self.shakes.get(vessel, ()))), left_out)


class Fetched(Sequence[KeptReading]):
    """Readings of a vessel, oldest first, fetched when more is asked for than how many there are and the newest."""

    def __init__(self, shelf: Shelf, vessel: str, *, combined: bool) -> None:
        self.shelf, self.vessel, self._combined = shelf, vessel, combined

    @property
    def is_calm(self) -> bool:
        """Whether none of them shows a suspect or a sign."""
        return self.shelf.summaries[self.vessel].is_calm

    def __len__(self) -> int:
        summary = self.shelf.summaries[self.vessel]
        return summary.n_readings if self._combined else summary.n_faces

    @overload
    def __getitem__(self, at: int) -> KeptReading: ...
    @overload
    def __getitem__(self, at: slice) -> tuple[KeptReading, ...]: ...
    def __getitem__(self, at: int | slice) -> KeptReading | tuple[KeptReading, ...]:
        """The newest is at hand."""
        last = self.shelf.summaries[self.vessel].last
        return last if self._combined and at == -1 and last is not None else self._all()[at]

    def __iter__(self) -> Iterator[KeptReading]:
        return iter(self._all())

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Fetched | tuple) and self._all() == tuple(other)

    def __hash__(self) -> int:
        return hash(self._all())

    def __repr__(self) -> str:
        return repr(self._all())

    def _all(self) -> tuple[KeptReading, ...]:
        known = self.shelf.known(self.vessel)
        return known.combined if self._combined else known.faces


def _in_parts(vessels: Sequence[Vessel]) -> Iterator[Sequence[Vessel]]:
    return (vessels[start : start + AT_ONCE] for start in range(0, len(vessels), AT_ONCE))


def open_shelf(farm: Farm) -> Shelf:
    """The farm's vessels at its now; series that are stale are read first, summaries that are missing are made."""
    read_stale_series(farm)
    known, missing = kept_summaries(farm)
    vessels, events = tuple(list_vessels(farm)), list_events(farm)
    wrong = wrong_readings(farm)
    everything = Shelf(farm, vessels, shakes_by_vessel(events, None), known, datetime.max.replace(tzinfo=UTC), {})
    if missing:
        made = everything.summarise(missing.keys())
        keep_summaries(farm, made, missing)
        known |= made
    moment = farm.now
    shelf = Shelf(farm, vessels, shakes_by_vessel(events, moment), known, moment, wrong)
    other_then = {
        vessel
        for vessel, one in known.items()
        if (one.newest_at is not None and one.newest_at > moment) or vessel in wrong.values()
    } | {event.vessel for event in events if event.at > moment}
    shelf.take_series(everything, other_then)
    shelf.summaries = known | shelf.summarise(other_then)
    return shelf


def series_of(
    vessel: Vessel,
    readings: Sequence[KeptReading],
    shaken_at: Sequence[datetime],
    as_of: datetime,
    room_c: float | None = None,
) -> "Series":
    """A vessel's readings as growth takes them: days since inoculation. Those from before it are left out.

    room_c: mean temperature of the place of a vessel whose record has none.
    """
    from growth.data import Series

    used = [one for one in readings if one.taken_at >= vessel.inoculated_at and one.percent is not None]
    return Series(
        vessel=vessel.id,
        kind=vessel.kind,
        species=vessel.species,
        substrate=vessel.substrate,
        batch=vessel.batch,
        days=tuple(days_between(vessel.inoculated_at, one.taken_at) for one in used),
        percent=tuple(one.percent for one in used if one.percent is not None),
        low=tuple(one.percent_low for one in used),
        high=tuple(one.percent_high for one in used),
        shaken_days=tuple(days_between(vessel.inoculated_at, at) for at in shaken_at if at >= vessel.inoculated_at),
        as_of_day=max(0.0, days_between(vessel.inoculated_at, as_of)),
        temperature_c=room_c if vessel.temperature_c is None else vessel.temperature_c,
    )


def shakes_by_vessel(events: Iterable[Event], until: datetime | None) -> dict[str, list[datetime]]:
    """When each vessel was shaken, up to a moment (None: ever)."""
    shakes: dict[str, list[datetime]] = {}
    for event in events:
        if event.event == "shaken" and (until is None or event.at <= until):
            shakes.setdefault(event.vessel, []).append(event.at)
    return shakes
