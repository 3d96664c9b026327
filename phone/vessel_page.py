"""One vessel: its face over days, its curve, flags, events, notes and lineage, and the ticks."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from farm.fruiting import list_harvests
from farm.outlook import Moments, Outlook
from farm.records import flag_words, list_events, notes_of
from farm.records.models import KeptReading, Vessel
from farm.store import Farm, calendar_days, on_farm_clock
from farm.study import Kin, kinship_of
from phone.farm_state import FarmState, Shown
from phone.vessel_rows import VesselRow, vessel_facts, vessel_row
from phone.words import Words
from report import Drawing, draw_curve

#: The newest faces that are shown; the largest one that a page shows is the newest.
_MOST_FACES = 12
_MOST_KIN = 30


@dataclass(frozen=True)
class FaceOfDay:
    """The face in one photo. small, large: addresses."""

    small: str
    large: str
    day: str
    percent: str


@dataclass(frozen=True)
class KinLine:
    """A related vessel: how it is related, in words."""

    id: str
    what: str
    contaminated: bool


@dataclass(frozen=True)
class VesselPage:
    """A vessel. row: as on the list, None where it is on none; drawing: None without a reading; unit: of
    weights.
    """

    id: str
    facts: str
    state: str
    row: VesselRow | None
    unit: str
    details: tuple[tuple[str, str], ...]
    faces: tuple[FaceOfDay, ...]
    drawing: Drawing | None
    drawing_says: str
    flags: tuple[str, ...]
    history: tuple[tuple[str, str], ...]
    kin: tuple[KinLine, ...]


def vessel_page(state: FarmState, words: Words, vessel_id: str) -> VesselPage:
    """The facts of the page. Raises UnknownVesselError."""
    farm, shown = state.farm, state.shown()
    lineage = kinship_of(farm, vessel_id)
    vessel = lineage.vessel
    outlook = shown.outlooks.get(vessel.id)
    readings = state.readings({vessel.id})[vessel.id] if outlook is not None else None
    series = () if readings is None else readings.series
    item = next((one for one in shown.items if one.outlook.vessel.id == vessel.id), None)
    row = None if item is None else vessel_row(farm, words, item)
    last = series[-1] if series else None
    return VesselPage(
        id=vessel.id,
        facts=vessel_facts(words, vessel),
        state="" if vessel.state == "running" else words(f"state.{vessel.state}"),
        row=row,
        unit=farm.units.weights,
        details=tuple(_details(farm, words, shown, vessel.id)),
        faces=tuple(_faces(farm, words, () if readings is None else readings.looked_at)),
        drawing=_drawn(farm, words, outlook, series) if outlook is not None and series else None,
        drawing_says=words("vessel.curve_says", vessel=vessel.id, readings=_in_words(farm, words, series)),
        flags=() if last is None else tuple(_flag(words, name) for name in last.flags),
        history=tuple(_history(farm, words, vessel)),
        kin=tuple(_kin(words, (*lineage.above, *lineage.below, *lineage.siblings)[:_MOST_KIN])),
    )


def _drawn(farm: Farm, words: Words, outlook: Outlook, series: Sequence[KeptReading]) -> Drawing:
    return draw_curve(
        outlook,
        series,
        farm.now,
        farm.zone,
        day_text=lambda moment, zone: words.short_day(on_farm_clock(moment, zone)),
    )


def _details(farm: Farm, words: Words, shown: Shown, vessel_id: str) -> list[tuple[str, str]]:
    outlook = shown.outlooks.get(vessel_id)
    if outlook is None:
        return []
    vessel = outlook.vessel
    inoculated = words.day(on_farm_clock(vessel.inoculated_at, farm.zone))
    days = words("vessel.days_ago", max(0, calendar_days(vessel.inoculated_at, farm.now, farm.zone)))
    details = [(words("vessel.inoculated"), f"{inoculated} ({days})")]
    for name, value in (("batch", vessel.batch), ("shelf", vessel.shelf), ("source", vessel.source)):
        details += [(words(f"vessel.{name}"), value)] if value else []
    details.append((words("vessel.forecast"), words.known("status", status_today(shown, outlook))))
    if outlook.last is not None and outlook.last.percent is not None:
        details.append((words("vessel.percent"), _percent(words, outlook)))
    for name, moments in (("through", outlook.through), ("ready", outlook.ready)):
        if text := _span(farm, words, moments):
            details.append((words(f"vessel.{name}"), text))
    return details


def status_today(shown: Shown, outlook: Outlook) -> str:
    """The name of how a vessel stands: "ready" only where a photo shows it and nothing is to be judged."""
    item = next((one for one in shown.items if one.outlook.vessel.id == outlook.vessel.id), None)
    if item is not None and item.section == "look":
        return "look"
    if item is not None and item.section == "due":
        return "foretold"
    fruits = item is not None and item.fruiting is not None
    return "foretold" if outlook.is_only_forecast and not fruits else outlook.forecast.status


def _percent(words: Words, outlook: Outlook) -> str:
    last = outlook.last
    if last is None or last.percent is None:
        return ""
    if last.percent_low is None or last.percent_high is None:
        return words("percent", percent=f"{last.percent:.0f}")
    bounds = {"low": f"{last.percent_low:.0f}", "high": f"{last.percent_high:.0f}"}
    return words("vessel.percent_between", percent=f"{last.percent:.0f}", **bounds)


def _span(farm: Farm, words: Words, moments: Moments) -> str:
    if moments.median is None:
        return ""
    median = words.day(on_farm_clock(moments.median, farm.zone))
    low, high = (_end(farm, words, one) for one in (moments.low, moments.high))
    return words("vessel.span", day=median, low=low, high=high)


def _end(farm: Farm, words: Words, moment: datetime | None) -> str:
    return "?" if moment is None else words.short_day(on_farm_clock(moment, farm.zone))


def _faces(farm: Farm, words: Words, readings: Sequence[KeptReading]) -> list[FaceOfDay]:
    """The newest first: on a phone nobody scrolls to the end."""
    kept = [one for one in readings if one.has_face][-_MOST_FACES:]
    return [
        FaceOfDay(
            f"/picture/small/{one.key}.jpg",
            f"/picture/ring/{one.key}/0,0,0,0.jpg",
            words.short_day(on_farm_clock(one.taken_at, farm.zone)),
            words("percent_none") if one.percent is None else words("percent", percent=f"{one.percent:.0f}"),
        )
        for one in reversed(kept)
    ]


def _in_words(farm: Farm, words: Words, series: Sequence[KeptReading]) -> str:
    listed = (
        f"{words.short_day(on_farm_clock(one.taken_at, farm.zone))}: {one.percent or 0.0:.0f} %" for one in series
    )
    return ", ".join(listed) or words("percent_unknown")


def _flag(words: Words, name: str) -> str:
    return words(f"flag.{name}") if words.has(f"flag.{name}") else flag_words([name])


def _history(farm: Farm, words: Words, vessel: Vessel) -> list[tuple[str, str]]:
    """Events and notes, the newest first: moment and text."""
    events = [(one.at, words.done(one.event, vessel.used_for)) for one in list_events(farm, [vessel.id])]
    notes = [(one.at, one.text) for one in notes_of(farm, vessel.id)]
    picked = [
        (one.at, f"{words.known('done', 'harvested')}: {farm.units.weight(one.fresh_kg)}")
        for one in list_harvests(farm, [vessel.id])
    ]
    return [
        (words.time(on_farm_clock(at, farm.zone)), text)
        for at, text in sorted([*events, *picked, *notes], key=lambda one: one[0], reverse=True)
    ]


def _kin(words: Words, kin: Sequence[Kin]) -> list[KinLine]:
    return [KinLine(one.vessel.id, _relation(words, one), one.contaminated) for one in kin]


def _relation(words: Words, one: Kin) -> str:
    if one.steps:
        return words("kin.above" if one.steps < 0 else "kin.below", abs(one.steps))
    return words("kin.shares", what=", ".join(words.known("shared", name) for name in one.shares))
