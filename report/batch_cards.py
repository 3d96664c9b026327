"""A batch on the report: its facts as text, and the cards of its vessels."""

from collections.abc import Mapping
from dataclasses import dataclass

from calibration import species_name
from farm.lists import BatchView
from farm.store import Farm
from report.cards import Card, anchor_of, day_of
from report.cautions import SECTION_HEADINGS


@dataclass(frozen=True)
class Batch:
    """A batch with at least one vessel. facts: kind, species, source, dates; counts: vessels by state.

    progress: each vessel's percent as x of the strip of dots (2 to 202); progress_says: the same in words.
    """

    name: str
    anchor: str
    facts: str
    counts: str
    progress: tuple[float, ...]
    progress_says: str
    cards: tuple[Card, ...]

    @property
    def href(self) -> str:
        """Link to the batch from the front page."""
        return f"{self.cards[0].page}#{self.anchor}"


def batch_of(farm: Farm, view: BatchView, cards: Mapping[str, Card]) -> Batch:
    """The batch with the cards of its running vessels; cards: by vessel id."""
    first, last = (day_of(at, farm) for at in view.inoculated)
    days = first if first == last else f"{first} to {last}"
    source = f"from {', '.join(view.sources)}" if view.sources else ""
    what = [
        ", ".join(view.kinds),
        ", ".join(map(species_name, view.species)),
        ", ".join(view.substrates),
        source,
        f"inoculated {days}",
    ]
    # Counted from the sections, not the items: if a batch is split over two pages, a page has only some of its items.
    running = [f"{sum(view.sections.values())} of {view.n_vessels} running"]
    running += [f"{view.n_contaminated} contaminated"] if view.n_contaminated else []
    running += [f"{view.n_closed} closed"] if view.n_closed else []
    running += [
        f"{SECTION_HEADINGS[name].format(days=farm.settings.days_ahead).lower()}: {count}"
        for name, count in view.sections.items()
    ]
    if view.percent is not None:
        low, middle, high = view.percent
        running.append(f"{low:.0f} to {high:.0f} % colonised, half of them {middle:.0f} % or more")
    running += [f"next ready {day_of(view.first_ready, farm)}"] if view.first_ready else []
    seen = [one.percent for item in view.items if (one := item.outlook.last) and one.percent is not None]
    return Batch(
        name=f"Batch {view.batch}" if view.batch else "Without a batch",
        anchor=anchor_of("batch", view.batch),
        facts="; ".join(filter(None, what)),
        counts="; ".join(running),
        progress=tuple(sorted(2 + 2 * round(one, 1) for one in seen)),
        progress_says=f"% colonised: {', '.join(f'{one:.0f}' for one in sorted(seen)) or 'none measured'}",
        cards=tuple(cards[item.outlook.vessel.id] for item in view.items),
    )
