"""What fruits, and what will: the places it takes, and the weight expected of it, learned from the farm's harvests."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from farm.fruiting import FruitingLife, VesselYield, dry_weight_kg, fruiting_lives, vessel_yields
from farm.plan.stock import Stock, fruiting_days
from farm.records import list_vessels, species_key
from farm.store import Farm, days_between

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.floating[Any]]

#: So many vessels of a species must have fruited to the end before a weight is expected of others.
LEAST_FINISHED = 3
#: What is learned from fewer batches is told so: the interval of 80 % then holds less often (docs/guide-planning.md).
FEW_BATCHES = 5
#: What takes a place now takes it for a day at least, however long its last flush is past.
_LEAST_HELD_DAYS = 1.0


@dataclass(frozen=True)
class FruitingAhead:
    """Vessels for fruiting among a stock. rows: of the stock. starts (V, D): days from now to the start of fruiting,
    below 0 where it has begun; NaN never. held_days (V,): how long each takes its place from then. lives: of those that
    fruit, by row of this.
    """

    rows: tuple[int, ...]
    starts: "Array"
    held_days: "Array"
    lives: dict[int, FruitingLife]


def fruiting_ahead(farm: Farm, stock: Stock, species: Sequence[str]) -> FruitingAhead:
    """The vessels for fruiting of some species (keys). What is ready and not opened yet starts now."""
    import numpy as np

    of_use = [n for n, one in enumerate(stock.vessels) if one.used_for == "fruiting" and stock.species[n] in species]
    lives = fruiting_lives(farm, [stock.vessels[n] for n in of_use])
    starts = np.maximum(stock.ready[of_use], 0.0)
    held = np.empty(len(of_use))
    found: dict[int, FruitingLife] = {}
    for at, n in enumerate(of_use):
        days = fruiting_days(farm, stock.species[n])
        more = max(days.flushes.value - 1, 0)
        held[at] = days.to_first.value + more * days.between.value
        if (life := lives.get(stock.vessels[n].id)) is not None:
            found[at] = life
            starts[at] = -days_between(life.since, farm.now)
            left = max(days.flushes.value - life.next_flush, 0) * days.between.value
            ends = (0.0 if life.due_at is None else days_between(farm.now, life.due_at)) + left
            held[at] = max(ends, _LEAST_HELD_DAYS) - starts[at, 0]
    return FruitingAhead(tuple(of_use), starts, held, found)


def weight_in_weeks(
    farm: Farm, stock: Stock, ahead: FruitingAhead, species: str, week_ends: Sequence[float]
) -> "Array | None":
    """Fresh weight, kg, to be expected of a species in each week: draws (W, D); None where too few have fruited.

    week_ends: days from now at which each week ends; the first has all that is due by then. The yield of a vessel's
    flushes is that of one that fruited to the end, drawn anew for each draw of the stock: for a batch one of the
    batches of the past, for each of its vessels one of that batch, so that the draws carry what a batch shares.
    """
    import numpy as np

    finished = finished_yields(farm, species)
    mine = [at for at, n in enumerate(ahead.rows) if stock.species[n] == species]
    if len(finished) < LEAST_FINISHED:
        return None
    days = fruiting_days(farm, species)
    n_flushes = max(round(days.flushes.value), *(max(one.flush_kg, default=0) for one in finished))
    trials = [one.trial(by_vessel=False) for one in finished]
    ratios = widened(np.array([_per_dry_kg(one, n_flushes) for one in finished]), trials)
    n_draws = ahead.starts.shape[1]
    batches = [stock.vessels[ahead.rows[at]].trial for at in mine]
    chosen = drawn(trials, batches, n_draws)
    weights = np.zeros((len(week_ends), n_draws))
    for place, at in enumerate(mine):
        dry = dry_weight_kg(farm, stock.vessels[ahead.rows[at]])
        life = ahead.lives.get(at)
        if dry is None or (life is not None and life.stage in ("late", "past")):
            continue
        next_flush = 1 if life is None else life.next_flush
        first = ahead.starts[at] + days.to_first.value if life is None else _due(farm, life)
        for number in range(next_flush, n_flushes + 1):
            on = first + (number - next_flush) * days.between.value
            week = np.searchsorted(week_ends, np.broadcast_to(on, n_draws))
            counts = week < len(week_ends)
            fresh = ratios[chosen[place], number - 1] * dry
            np.add.at(weights, (week[counts], np.flatnonzero(counts)), fresh[counts])
    return weights


def finished_yields(farm: Farm, species: str) -> list[VesselYield]:
    """Of a species (a key) the vessels of the farm that fruited to the end, and whose dry weight is known."""
    vessels = [one for one in list_vessels(farm) if species_key(farm, one.species) == species]
    return [one for one in vessel_yields(farm, vessels) if one.is_finished and one.dry_kg]


def n_batches(farm: Farm, species: str) -> int:
    """How many batches of a species have vessels that fruited to the end."""
    return len({one.trial(by_vessel=False) for one in finished_yields(farm, species)})


def _per_dry_kg(one: VesselYield, n_flushes: int) -> list[float]:
    """Fresh weight of each flush per kg of dry substrate."""
    return [one.flush_kg.get(n + 1, 0.0) / (one.dry_kg or 1.0) for n in range(n_flushes)]


def _due(farm: Farm, life: FruitingLife) -> float:
    """Days from now to its next flush; what is due already comes now."""
    return 0.0 if life.due_at is None else max(days_between(farm.now, life.due_at), 0.0)


def widened(yields: "Array", trials: Sequence[str]) -> "Array":
    """Yields (N, F) with the means of the trials drawn apart, so that they spread as those to come must be expected to.

    A new trial differs from the mean of B trials by their variance times 1 + 1/B, while draws from the B spread by the
    variance times 1 - 1/B: deviations are made longer by the root of (B + 1) / (B - 1). One trial stays as it is.
    """
    import numpy as np

    names = sorted(set(trials))
    if len(names) < 2:
        return yields
    totals = yields.sum(axis=1)
    means = {
        name: float(np.mean([total for total, one in zip(totals, trials, strict=True) if one == name]))
        for name in names
    }
    middle = float(np.mean(list(means.values())))
    longer = ((len(names) + 1) / (len(names) - 1)) ** 0.5
    meant = {name: max(middle + longer * (mean - middle), 0.0) for name, mean in means.items()}
    factors = [meant[one] / means[one] if means[one] > 0 else 1.0 for one in trials]
    return np.asarray(yields * np.array(factors)[:, None])


def drawn(trials: Sequence[str], batches: Sequence[str], n_draws: int) -> "NDArray[np.intp]":
    """For each vessel and draw a member of the trials (V, D), the same every time.

    batches: of the vessels. In each draw the trials are drawn anew, with replacement; each batch is given one of these,
    and each of its vessels a member of that one.
    """
    import numpy as np

    random = np.random.default_rng(7)
    names = sorted(set(trials))
    members = [np.flatnonzero([one == name for one in trials]) for name in names]
    own = sorted(set(batches))
    anew = random.integers(len(names), size=(len(names), n_draws))
    slots = random.integers(len(names), size=(len(own), n_draws))
    trial = np.take_along_axis(anew, slots, axis=0)[[own.index(one) for one in batches]]
    sizes = np.array([len(one) for one in members])
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    within = (random.random(trial.shape) * sizes[trial]).astype(np.intp)
    found: NDArray[np.intp] = np.concatenate(members)[starts[trial] + within]
    return found
