"""For tests of permissions, which root does not feel."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def as_nobody(home: Path) -> Iterator[None]:
    """Root may read everything, so as root what is done in here is done as another user, who may go into home."""
    if os.geteuid() != 0:
        yield
        return
    shut = [one for one in (home, *home.parents) if one.stat().st_uid == 0 and one.stat().st_mode & 0o5 != 0o5]
    modes = {folder: folder.stat().st_mode for folder in shut}
    for folder in shut:
        folder.chmod(0o755)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
        for folder, mode in modes.items():
            folder.chmod(mode)
