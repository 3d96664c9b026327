"""The state of a batch: how many vessels run, how far they are, and what became of the rest."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from farm.lists.today import SECTIONS, Section, TodayItem
from farm.records import list_vessels
from farm.records.models import TAKEN_OUT, Vessel
from farm.store import Farm


@dataclass(frozen=True)
class BatchView:
    """A batch ("" for vessels without one). items: its running vessels on today's list; sections: how many in each.

    percent: lowest, middle and highest newest reading, None without any. n_contaminated of n_vessels, closed ones
    counted. first_ready: the earliest day of readiness ahead. kinds, species, substrates, sources: of all vessels, the
    most frequent first.
    """

    batch: str
    items: tuple[TodayItem, ...]
    sections: dict[Section, int]
    percent: tuple[float, float, float] | None
    n_vessels: int
    n_contaminated: int
    n_closed: int
    kinds: tuple[str, ...]
    species: tuple[str, ...]
    substrates: tuple[str, ...]
    sources: tuple[str, ...]
    inoculated: tuple[datetime, datetime]
    first_ready: datetime | None


def batch_views(farm: Farm, items: Sequence[TodayItem]) -> list[BatchView]:
    """The batches that have vessels on today's list, by name; those without a batch last."""
    everyone: dict[str, list[Vessel]] = {}
    for vessel in list_vessels(farm):
        everyone.setdefault(vessel.batch, []).append(vessel)
    running: dict[str, list[TodayItem]] = {}
    for item in items:
        running.setdefault(item.outlook.vessel.batch, []).append(item)
    views = [_view(batch, mine, everyone.get(batch, ())) for batch, mine in running.items()]
    return sorted(views, key=lambda one: (one.batch == "", one.batch))


def _view(batch: str, items: Sequence[TodayItem], vessels: Sequence[Vessel]) -> BatchView:
    vessels = vessels or [item.outlook.vessel for item in items]
    seen = [item.outlook.last.percent for item in items if item.outlook.last and item.outlook.last.percent is not None]
    days = [day for item in items if item.section in ("soon", "later") and (day := item.outlook.ready.median)]
    counted = Counter(item.section for item in items)
    inoculated = [one.inoculated_at for one in vessels]

    def usual(name: str) -> tuple[str, ...]:
        return tuple(value for value, _ in Counter(getattr(one, name) for one in vessels).most_common() if value)

    return BatchView(
        batch=batch,
        items=tuple(sorted(items, key=lambda item: item.outlook.vessel.id)),
        sections={section: counted[section] for section in SECTIONS if counted[section]},
        percent=(min(seen), median(seen), max(seen)) if seen else None,
        n_vessels=len(vessels),
        n_contaminated=sum(one.state in TAKEN_OUT for one in vessels),
        n_closed=sum(one.state == "closed" for one in vessels),
        kinds=usual("kind"),
        species=usual("species"),
        substrates=usual("substrate"),
        sources=usual("source"),
        inoculated=(min(inoculated), max(inoculated)),
        first_ready=min(days, default=None),
    )
