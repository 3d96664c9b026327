"""Kill work at random moments (seeded), repeat it, and compare.

Runs over photos, imports, restores, the making of farms, backups, bringing records of an older version up to date,
reading series again, mending, and a chain of steps with harvests.

    python -m benchmarks.faults --kills 60 --seed 1

Exit code 1 where records or faces differ from those of undisturbed work, SQLite's integrity_check finds something, or a
process or a half-made file is left.
"""

import argparse
import random
import sys
import tempfile
from pathlib import Path

from benchmarks.faults.before import before
from benchmarks.faults.kill import kill_and_go_on, make_farm, make_photos, make_table, work_whole
from farm.store import open_farm
from farm.upkeep import back_up


def main() -> int:
    """Run and print; 1 if anything differed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=60, help="of each kind of work")
    parser.add_argument("--photos", type=int, default=60)
    parser.add_argument("--rows", type=int, default=4000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kinds", nargs="+", help="only these kinds of work")
    chosen = parser.parse_args()
    is_well = True
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        sources = {
            "batch": make_photos(home / "photos", chosen.photos),
            "import": make_table(home / "table.csv", chosen.rows),
            "workers": home / "photos",
            "restore": _backup(home),
            **dict.fromkeys(("init", "backup", "migrate", "series", "mend", "steps"), Path("-")),
        }
        for what, source in sources.items():
            if chosen.kinds and what not in chosen.kinds:
                continue
            whole = before(what, home / f"{what}-whole", home / "backed-up", chosen.rows)
            seconds = work_whole(what, whole, source)
            chance = random.Random(f"{chosen.seed} {what}")
            killed, differing = 0, 0
            for number in range(chosen.kills):
                farm = before(what, home / f"{what}-{number}", home / "backed-up", chosen.rows)
                outcome = kill_and_go_on(what, farm, source, chance.uniform(0, seconds), whole)
                killed += outcome.is_killed
                differing += bool(outcome.differences)
                for one in outcome.differences:
                    print(f"  {what} {number}: {one}", flush=True)
            told = f"{killed} of {chosen.kills} killed midway, {differing} differ"
            print(f"{what}: {seconds:.2f} s undisturbed; {told}", flush=True)
            is_well &= not differing
    return 0 if is_well else 1


def _backup(home: Path) -> Path:
    """A backup of a farm with measured photos."""
    farm = make_farm(home / "backed-up")
    work_whole("batch", farm, home / "photos")
    with open_farm(farm) as opened:
        return back_up(opened, home / "farm.zip").path


if __name__ == "__main__":
    sys.exit(main())
