"""Run commands as a user does, and measure time and peak memory of each of their processes."""

import os
import resource
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryFile

#: Compiled Python files are kept and used, as where pip has installed a program.
ENVIRONMENT = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": ""}
_SPAWNRUN = "import sys; from cli import run; sys.exit(run(sys.argv[1:]))"


@dataclass(frozen=True)
class Watched:
    """Wall-clock seconds, and processor seconds of all its processes, which depend less on other load.

    parent_mib, worker_mib: peak resident memory of the command itself and of the largest process it started.
    """

    seconds: float
    core_seconds: float
    parent_mib: float
    worker_mib: float
    output: str


def spawnrun(*arguments: str | Path, accept: tuple[int, ...] = (0, 3), checkout: Path | None = None) -> Watched:
    """Run a command line of this program and measure it. Raises RuntimeError if it fails.

    checkout: folder of the version that is run; None: the one installed.
    """
    begun, used = time.perf_counter(), _used_by_children()
    command = [sys.executable, "-c", _SPAWNRUN, *map(str, arguments)]
    most: dict[int, float] = {}
    with TemporaryFile("w+") as said:
        running = subprocess.Popen(command, env=ENVIRONMENT, cwd=checkout, stdout=said, stderr=said)
        while running.poll() is None:
            for process in (running.pid, *_children(running.pid)):
                most[process] = max(most.get(process, 0.0), _peak_mib(process))
            time.sleep(0.05)
        seconds = time.perf_counter() - begun
        said.seek(0)
        output = said.read()
    if running.returncode not in accept:
        raise RuntimeError(f"{arguments}: {output[-2000:]}")
    workers = [mib for process, mib in most.items() if process != running.pid]
    return Watched(seconds, _used_by_children() - used, most.get(running.pid, 0.0), max(workers, default=0.0), output)


def _used_by_children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _children(process: int) -> list[int]:
    try:
        return [int(one) for one in Path(f"/proc/{process}/task/{process}/children").read_text().split()]
    except OSError:
        return []


def _peak_mib(process: int) -> float:
    """Peak resident memory so far (VmHWM of proc(5))."""
    try:
        for line in Path(f"/proc/{process}/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / 1024
    except OSError:
        pass
    return 0.0
