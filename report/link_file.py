"""A file that leads a browser to a secret address.

As an argument of a browser the address itself could be read by every user of the machine, in the list of processes.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from html import escape
from pathlib import Path
from tempfile import TemporaryDirectory


@contextmanager
def private_link(address: str) -> Iterator[str]:
    """Address of a file that only this user can read and that leads on to the address; gone after the block."""
    with TemporaryDirectory(prefix="spawnrun-", ignore_cleanup_errors=True) as home:
        page = Path(home) / "review.html"
        page.touch(mode=0o600)
        page.write_text(f'<!doctype html><meta http-equiv="refresh" content="0;url={escape(address)}">\n', "utf-8")
        yield page.as_uri()
