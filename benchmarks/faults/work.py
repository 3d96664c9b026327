"""The work to be killed, as a separate process; each can be given again, and then does what is left.

python -m benchmarks.faults.work batch FARM PHOTOS
python -m benchmarks.faults.work workers FARM PHOTOS
python -m benchmarks.faults.work import FARM TABLE
python -m benchmarks.faults.work restore FARM BACKUP
python -m benchmarks.faults.work init FARM -
python -m benchmarks.faults.work backup FARM -      to FARM.zip
python -m benchmarks.faults.work migrate FARM -
python -m benchmarks.faults.work series FARM -
python -m benchmarks.faults.work mend FARM -
python -m benchmarks.faults.work steps FARM -
"""

import sys
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

from farm.fruiting import record_harvest
from farm.measure import RunOptions, measure_paths, read_stale_series
from farm.records import add_vessels, get_vessel, import_vessels, made_vessels, mark_done, undo_done
from farm.records.models import Vessel
from farm.store import Farm, create_farm, open_farm
from farm.store.errors import FarmExistsError, SpawnrunError
from farm.upkeep import back_up, mend_doubles, restore_farm
from farm.upkeep.archive import check_archive
from tests.farm.painted import painted_vision

#: Printed when everything is loaded and the work starts.
BEGUN = "begun"


def main(what: str, folder: str, source: str) -> None:
    """Do one piece of work on a farm, or make it."""
    if what in ("restore", "init"):
        print(BEGUN, flush=True)
        try:
            (restore_farm(Path(source), Path(folder)) if what == "restore" else create_farm(Path(folder))).close()
        except FarmExistsError:  # killed after its last step: it is whole, or this raises
            open_farm(Path(folder)).close()
        return
    if what == "migrate":
        print(BEGUN, flush=True)
        open_farm(Path(folder)).close()
        return
    with open_farm(Path(folder)) as farm:
        print(BEGUN, flush=True)
        if what in _ON_A_FARM:
            _ON_A_FARM[what](farm)
        elif what == "import":
            import_vessels(farm, Path(source))
        else:
            options = RunOptions(workers=2 if what == "workers" else 1)
            measure_paths(farm, [Path(source)], options, vision=painted_vision())


def _back_up(farm: Farm) -> None:
    target = farm.folder.with_suffix(".zip")
    if target.exists():  # under its name it is whole
        check_archive(target)
    else:
        back_up(farm, target)


def _read_series(farm: Farm) -> None:
    read_stale_series(farm, vision=painted_vision())


def _steps(farm: Farm) -> None:
    """Bags are added, spawned to others, one is taken back, opened and picked: each step once, in this order."""
    begun = datetime(2026, 3, 1, 8, tzinfo=UTC)
    for number in range(_ROUNDS):
        at = begun + timedelta(hours=number)
        jar, made = f"J{number:03}", (f"K{number:03}", f"L{number:03}")
        with suppress(SpawnrunError):  # done before the kill
            add_vessels(farm, [Vessel(jar, "jar", begun - timedelta(days=9), "oyster", "rye grain")])
        source = get_vessel(farm, jar)
        with suppress(SpawnrunError):
            new = made_vessels(farm, [source], list(made), at, {"kind": "bag", "substrate": "sawdust"})
            mark_done(farm, [source], at, made=new)
        with suppress(SpawnrunError):
            mark_done(farm, [get_vessel(farm, made[0])], at + timedelta(days=20), "thrown_out", why="a trial")
        if _is_closed(farm, made[0]):
            undo_done(farm, [get_vessel(farm, made[0])])
        with suppress(SpawnrunError):
            mark_done(farm, [get_vessel(farm, made[1])], at + timedelta(days=20), "opened")
        with suppress(SpawnrunError):
            record_harvest(farm, [get_vessel(farm, made[1])], 0.4, at + timedelta(days=30))


def _is_closed(farm: Farm, vessel: str) -> bool:
    return get_vessel(farm, vessel).closed_at is not None


_ROUNDS = 25
_ON_A_FARM = {"backup": _back_up, "series": _read_series, "mend": mend_doubles, "steps": _steps}


if __name__ == "__main__":
    main(*sys.argv[1:])
