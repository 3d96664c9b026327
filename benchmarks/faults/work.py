"""The work to be killed, as a separate process: a run over photos, an import, a restore, the making of a farm.

python -m benchmarks.faults.work batch FARM PHOTOS
python -m benchmarks.faults.work workers FARM PHOTOS
python -m benchmarks.faults.work import FARM TABLE
python -m benchmarks.faults.work restore FARM BACKUP
python -m benchmarks.faults.work init FARM -
"""

import sys
from pathlib import Path

from farm.measure import RunOptions, measure_paths
from farm.records import import_vessels
from farm.store import create_farm, open_farm
from farm.store.errors import FarmExistsError
from farm.upkeep import restore_farm
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
    with open_farm(Path(folder)) as farm:
        print(BEGUN, flush=True)
        if what == "import":
            import_vessels(farm, Path(source))
        else:
            options = RunOptions(workers=2 if what == "workers" else 1)
            measure_paths(farm, [Path(source)], options, vision=painted_vision())


if __name__ == "__main__":
    main(*sys.argv[1:])
