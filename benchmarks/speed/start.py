"""Time to start the command, compared with `import numpy`."""

import os
import subprocess
import sys
import time
from pathlib import Path
from statistics import median

_SPAWNRUN = "import sys, cli; sys.exit(cli.run(sys.argv[1:]))"


def seconds_to_run(code: str, *arguments: str) -> float:
    """Wall time of a fresh interpreter that runs this code from this checkout."""
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2]), "OMP_NUM_THREADS": "1"}
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", code, *arguments], check=True, capture_output=True, env=environment)
    return time.perf_counter() - begun


def time_starts(farm: Path, rounds: int) -> dict[str, float]:
    """Median seconds of `import numpy`, `spawnrun --help` and `spawnrun ready` on a farm, taken in turns."""
    runs = {
        "import numpy": ("import numpy",),
        "spawnrun --help": (_SPAWNRUN, "--help"),
        "spawnrun ready": (_SPAWNRUN, "ready", "--farm", str(farm)),
    }
    seconds_to_run(*runs["spawnrun ready"])  # the first makes the forecasts, which are then kept
    taken: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(rounds):
        for name, run in runs.items():
            taken[name].append(seconds_to_run(*run))
    return {name: median(times) for name, times in taken.items()}
