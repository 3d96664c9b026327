"""Goals of a plan, read from a line of text, and the result of back-scheduling from one."""

import re
from dataclasses import dataclass, replace
from datetime import date

from calibration import KINDS, USES, Kind, Use, use_is_assumed, use_of
from farm.plan.stock import planned_species, usual_bulk, usual_substrate
from farm.records import contents_kg
from farm.store import DateOrder, Farm, moment_of_text
from farm.store.errors import PlanError

_TARGET = re.compile(
    rf"(?P<wanted>[1-9]\d{{0,4}})\s+(?P<species>.+?)\s+(?P<kind>{'|'.join(KINDS)})s?"
    r"(?:\s+(?:on|of)\s+(?P<substrate>.+?))?(?:\s+(?:ready|for\s+(?P<purpose>\S+)))?\s+by\s+(?P<by>.+)",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Target:
    """A number of vessels of a species, ready by the end of a day. substrate "": the farm's usual.

    use: what they are for, None: as the substrate tells.
    """

    wanted: int
    species: str
    kind: Kind
    by: date
    substrate: str = ""
    use: Use | None = None


@dataclass(frozen=True)
class TargetStep:
    """One step: vessels to inoculate, what with, the substrate to have ready for them (kg, whole step), and days.

    start_by: the latest day to inoculate on so that the goal is met nine times in ten; start_even: for even odds.
    begin: the day to begin with the substrate for start_by; how: its method.
    """

    kind: Kind
    vessels: int
    source: str
    substrate: str
    kg: float | None
    start_by: date
    start_even: date
    begin: date
    how: str


@dataclass(frozen=True)
class TargetPlan:
    """The result of back-scheduling. target: the goal, with the substrate and the use that were taken.

    running: running vessels of the kind and use that will be ready by then (nine in ten). unread: running vessels that
    are not counted, since no photo of them was ever read. assumed: whether only the kind told the use.

    can_be_met: nine times in ten, from today; even_odds: at least every other time. Where
    not: earliest is the first day on which it can, and at_most is how many can be had by the day wanted. loss: what was
    assumed of losses, in words.
    """

    target: Target
    running: int
    steps: tuple[TargetStep, ...]
    can_be_met: bool
    even_odds: bool
    earliest: date | None
    at_most: int
    loss: str
    unread: tuple[str, ...]
    assumed: bool


def parse_target(text: str, order: DateOrder = "") -> Target:
    """A goal such as "40 oyster blocks for fruiting by 2026-12-12". order: of a day in numbers. Raises PlanError."""
    found = _TARGET.fullmatch(text.strip())
    if found is None:
        kinds = ", ".join(f"{kind}s" for kind in KINDS)
        raise PlanError(f"{text!r}: say it as '40 oyster blocks by 2026-12-12' (number, species, {kinds}, day)")
    try:
        by = moment_of_text(found["by"], order).date()
    except ValueError as error:
        raise PlanError(f"the day of the goal, {found['by']!r}: {error}") from None
    kind = found["kind"].lower()
    purpose = (found["purpose"] or "").lower()
    use = next((one for one in USES if one == purpose), None)
    return Target(int(found["wanted"]), found["species"], kind, by, found["substrate"] or "", use)


def with_use(farm: Farm, target: Target) -> tuple[Target, bool]:
    """The goal with the species' key, its substrate and its use, and whether only its kind told the use.

    Raises PlanError for a species that neither the table nor a vessel knows, and for a kind of which nobody knows how
    much it holds.
    """
    species = planned_species(farm, target.species)
    substrate = target.substrate or usual_substrate(farm, species, target.kind, target.use)
    use = use_of(target.kind, substrate, target.use)
    if not substrate and use == "fruiting":
        substrate = usual_bulk(farm, species)[1]
    if use != "culture" and contents_kg(farm, target.kind) <= 0:
        raise PlanError(f"a {target.kind} is not planned for {use}: how much substrate it holds is not known")
    assumed = use_is_assumed(target.kind, substrate, target.use)
    return replace(target, species=species, substrate=substrate, use=use), assumed
