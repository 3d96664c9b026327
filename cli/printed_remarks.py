"""Remarks on vessels that several commands print on standard error."""

from collections import Counter
from collections.abc import Sequence

from cli.render import say
from farm.records import closed_caution
from farm.records.models import Vessel


def tell_assumed_use(vessels: Sequence[Vessel]) -> None:
    """Say of vessels what they are taken for, where neither record nor substrate tells it."""
    assumed = Counter((one.kind, one.used_for) for one in vessels if one.use_is_assumed)
    taken = [f"{count} {kind}{'s' * (count != 1)} for {use}" for (kind, use), count in assumed.items()]
    if taken:
        told = f"their substrate does not tell what they are for; counted as is usual: {', '.join(taken)}"
        say(f"{told}; `use` (culture, spawn, fruiting) says otherwise")


def warn_of_closed(vessels: Sequence[Vessel]) -> None:
    """Say of vessels that something is noted of that they are closed or contaminated."""
    if caution := closed_caution(vessels):
        say(f"warning: {caution}")
