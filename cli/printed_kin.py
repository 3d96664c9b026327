"""What the trace prints: frozen records, as in cli/printed_vessels.py."""

from dataclasses import dataclass
from datetime import tzinfo
from typing import Literal

from calibration import Kind
from farm.records.models import State
from farm.store import iso
from farm.study import Kin


@dataclass(frozen=True)
class KinRecord:
    """A vessel of `spawnrun trace`. steps: generations below the traced vessel, negative above."""

    relation: Literal["above", "below", "sibling"]
    steps: int
    shares: tuple[str, ...]
    vessel: str
    kind: Kind
    source: str
    batch: str
    shelf: str
    inoculated_at: str
    state: State
    contaminated: bool


def kin_record(kin: Kin, zone: tzinfo | None) -> KinRecord:
    """A vessel in a trace."""
    return KinRecord(
        relation="above" if kin.steps < 0 else "below" if kin.steps > 0 else "sibling",
        steps=kin.steps,
        shares=kin.shares,
        vessel=kin.vessel.id,
        kind=kin.vessel.kind,
        source=kin.vessel.source,
        batch=kin.vessel.batch,
        shelf=kin.vessel.shelf,
        inoculated_at=iso(kin.vessel.inoculated_at, zone),
        state=kin.vessel.state,
        contaminated=kin.contaminated,
    )
