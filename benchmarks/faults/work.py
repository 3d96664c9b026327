"""The work to be killed, as a separate process: a run over photos, or an import of a table.

python -m benchmarks.faults.work batch FARM PHOTOS
python -m benchmarks.faults.work import FARM TABLE
"""

import sys
from pathlib import Path

from farm.measure import measure_paths
from farm.records import import_vessels
from farm.store import open_farm
from tests.farm.painted import painted_vision

#: Printed when everything is loaded and the work starts.
BEGUN = "begun"


def main(what: str, folder: str, source: str) -> None:
    """Do one piece of work on a farm."""
    with open_farm(Path(folder)) as farm:
        print(BEGUN, flush=True)
        if what == "batch":
            measure_paths(farm, [Path(source)], vision=painted_vision())
        else:
            import_vessels(farm, Path(source))


if __name__ == "__main__":
    main(*sys.argv[1:])
