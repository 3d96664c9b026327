"""Processor time to start the command, compared with `import numpy`."""

import os
import resource
import subprocess
import sys
from pathlib import Path
from statistics import median

_SPAWNRUN = "import cli; cli.main()"


def seconds_to_run(code: str, *arguments: str) -> float:
    """Processor time of a fresh interpreter that runs this code from this checkout."""
    here = str(Path(__file__).parents[2])
    # Compiled Python files are kept and used, as where pip has installed a program.
    environment = os.environ | {"PYTHONPATH": here, "OMP_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": ""}
    begun = _used()
    subprocess.run([sys.executable, "-c", code, *arguments], check=True, capture_output=True, env=environment)
    return _used() - begun


def _used() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


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
