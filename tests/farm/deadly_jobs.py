"""Jobs that kill their worker. The module imports little, so that a worker that runs them starts quickly."""

import os
import signal
import time
from pathlib import Path


def die(_: int) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def die_over_odd(number: int) -> int:
    if number % 2:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def die_over_odd_on_signal(folder: Path, number: int) -> int:
    """For an odd number: make the file ``begun``, and die as soon as there is a file ``go``."""
    if number % 2:
        (folder / "begun").touch()
        wait_for(folder / "go")
    return die_over_odd(number)


def wait_for(file: Path) -> None:
    """Wait until a file exists; raises TimeoutError after 60 seconds."""
    until = time.monotonic() + 60
    while not file.exists():
        if time.monotonic() > until:
            raise TimeoutError(file.name)
        time.sleep(0.01)


def ignore_termination() -> None:
    """From now on a termination signal does not end this process."""
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
