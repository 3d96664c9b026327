"""Which vessels came from which: what hangs from a contaminated one, and dates that no descent can have."""

from collections.abc import Collection, Iterable, Mapping

from farm.records.models import TAKEN_OUT, Vessel
from farm.store import Farm, day_words, on_farm_clock


def source_id(vessel: Vessel) -> str:
    """What a vessel was inoculated from, written as an id; "" where nothing is noted."""
    return vessel.source.strip().upper()


def contaminated_sources(vessels: Iterable[Vessel]) -> dict[str, str]:
    """Of vessels by id, the nearest one above them in their line that was taken out as contaminated.

    vessels: all of the farm. Those without such a one are left out.
    """
    by_id = {one.id: one for one in vessels}
    if not any(one.state in TAKEN_OUT for one in by_id.values()):
        return {}
    return {one.id: found for one in by_id.values() if (found := _nearest_taken_out(one, by_id))}


def made_from(vessels: Iterable[Vessel], ids: Collection[str]) -> list[Vessel]:
    """The vessels that were inoculated from these, over all generations, by id."""
    below: dict[str, list[Vessel]] = {}
    for one in vessels:
        below.setdefault(source_id(one), []).append(one)
    found: dict[str, Vessel] = {}
    waiting = list(ids)
    while waiting:
        for one in below.get(waiting.pop(), ()):
            if one.id not in found and one.id not in ids:
                found[one.id] = one
                waiting.append(one.id)
    return [found[name] for name in sorted(found)]


def older_than_source(farm: Farm, vessel: Vessel, by_id: Mapping[str, Vessel]) -> str:
    """That a vessel was inoculated before its source was, in words; "" where it was not, or its source is no vessel."""
    source = by_id.get(source_id(vessel))
    if source is None or vessel.inoculated_at >= source.inoculated_at:
        return ""
    mine, other = (day_words(on_farm_clock(one.inoculated_at, farm.zone)) for one in (vessel, source))
    return f"{vessel.id} of {mine} is older than its source {source.id} of {other}: check both dates"


def _nearest_taken_out(vessel: Vessel, by_id: Mapping[str, Vessel]) -> str:
    seen = {vessel.id}
    above = by_id.get(source_id(vessel))
    while above is not None and above.id not in seen:
        if above.state in TAKEN_OUT:
            return above.id
        seen.add(above.id)
        above = by_id.get(source_id(above))
    return ""
