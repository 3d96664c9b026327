"""What follows from a verdict, as it is printed below it."""

from collections.abc import Sequence

from cli.render import as_command, echo, say
from farm.records import ids_in_short, list_vessels, made_from
from farm.records.models import BEHIND, DROP, MISFIT, STALL, Review, means_contamination
from farm.store import Farm

#: What follows from confirming what is no contamination; of the signs on a face nothing else does.
_GROWTH = {
    STALL: "on the list as stopped, to be thrown out or given time; no plan counts it",
    BEHIND: "stays on the list; it is asked about again in a week",
    DROP: "stays on the list; `spawnrun event` notes a shake",
    MISFIT: "that reading is left out of curve and forecast",
}
_SIGN = "stays on the list; it is asked about again in a week"


def tell_consequences(farm: Farm, given: Sequence[Review], *, quarantine: bool) -> None:
    """Say what follows from verdicts that confirmed something."""
    spoiled = {one.vessel for one in given if means_contamination(one.subject)}
    if spoiled:
        what = "in quarantine: keep apart, closed" if quarantine else "contaminated: throw out, closed"
        echo(f"{ids_in_short(spoiled)}: off the lists as {what}; what it gives from now on is no harvest")
        made = ids_in_short(one.id for one in made_from(list_vessels(farm), spoiled) if one.state == "running")
        trace = as_command("trace", min(spoiled), farm=farm)
        echo(f"  made from it, and marked on the list: {made}" if made else "  nothing that runs was made from it")
        echo(f"  what shares its source, batch, day or shelf: {trace}")
    alike: dict[str, list[str]] = {}
    for one in given:
        if one.vessel not in spoiled:
            alike.setdefault(_GROWTH.get(one.subject, _SIGN), []).append(one.vessel)
    for what, ids in alike.items():
        echo(f"{ids_in_short(ids)}: {what}")
    undo = as_command("review", "undo", given[0].vessel, farm=farm)
    say(f"to take it back: {undo}{' (each by itself)' * (len({one.vessel for one in given}) > 1)}")
