"""Kill a run and an import at random moments (seeded), run them again, and print whether the records are right.

    python -m benchmarks.faults --kills 60 --seed 1

Exit code 1 where records or faces differ from those of an undisturbed run, or SQLite's integrity_check finds something.
"""

import argparse
import random
import sys
import tempfile
from pathlib import Path

from benchmarks.faults.kill import kill_and_go_on, make_farm, make_photos, make_table, work_whole


def main() -> int:
    """Run and print; 1 if anything differed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=60, help="of each kind of work")
    parser.add_argument("--photos", type=int, default=60)
    parser.add_argument("--rows", type=int, default=4000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    is_well = True
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        sources = {
            "batch": make_photos(home / "photos", chosen.photos),
            "import": make_table(home / "table.csv", chosen.rows),
        }
        for what, source in sources.items():
            whole = make_farm(home / f"{what}-whole")
            seconds = work_whole(what, whole, source)
            chance = random.Random(f"{chosen.seed} {what}")
            killed, differing = 0, 0
            for number in range(chosen.kills):
                farm = make_farm(home / f"{what}-{number}")
                outcome = kill_and_go_on(what, farm, source, chance.uniform(0, seconds), whole)
                killed += outcome.is_killed
                differing += bool(outcome.differences)
                for one in outcome.differences:
                    print(f"  {what} {number}: {one}", flush=True)
            told = f"{killed} of {chosen.kills} killed midway, {differing} differ"
            print(f"{what}: {seconds:.2f} s undisturbed; {told}", flush=True)
            is_well &= not differing
    return 0 if is_well else 1


if __name__ == "__main__":
    sys.exit(main())
