"""Processes started by tests: they react to Ctrl-C, end with the test, and every wait on them has a limit."""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

#: A process that runs longer is killed, so every wait on it ends and the test fails.
LIMIT_S = 180.0
#: Restores Ctrl-C: if the test process ignores it (nohup, a background job), so would its children.
_WITH_CTRL_C = (
    "import os, signal, sys; signal.signal(signal.SIGINT, signal.SIG_DFL); os.execv(sys.argv[1], sys.argv[1:])"
)


@contextmanager
def started(
    command: Sequence[str | os.PathLike[str]],
    *,
    limit_s: float = LIMIT_S,
    **options: Any,
) -> Iterator["subprocess.Popen[Any]"]:
    """A running process in a session of its own; killed with its children after the block, or after limit_s."""
    if os.name != "nt":
        command = [sys.executable, "-c", _WITH_CTRL_C, *command]
    process = subprocess.Popen(command, start_new_session=True, **options)
    timer = threading.Timer(limit_s, kill, [process])
    timer.start()
    try:
        yield process
    finally:
        timer.cancel()
        kill(process)
        process.wait(timeout=30)
        for pipe in (process.stdin, process.stdout, process.stderr):
            if pipe is not None:
                pipe.close()


def kill(process: "subprocess.Popen[Any]") -> None:
    """End a process and all processes of its session."""
    if os.name == "nt":
        process.kill()
        return
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)


def is_running(pid: int) -> bool:
    """Whether a process is there and has not ended; one that has ended and that nobody waits for is not."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    status = Path(f"/proc/{pid}/stat")
    try:
        return status.read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return not status.parent.parent.joinpath("self").exists()
