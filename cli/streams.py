"""Standard output and error as they are found: closed, full, or unable to show a letter."""

import codecs
import os
import sys
from typing import TextIO, cast

from cli import exits

#: A stream in another encoding shows this for a letter that it does not have.
_INSTEAD = "replace"


def mend_streams() -> None:
    """Let printing never fail: letters that a stream cannot show are replaced, a closed stream takes everything."""
    if sys.stderr is None:
        sys.stderr = _nowhere()
    if sys.stdout is None:
        sys.stdout = _nowhere()
        print("spawnrun: standard output is closed: the work is done, its list is not printed", file=sys.stderr)
    for stream in (sys.stdout, sys.stderr):
        if not shows_all(stream) and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=_INSTEAD)


def shows_all(stream: TextIO) -> bool:
    """Whether a stream can show every letter."""
    try:
        return codecs.lookup(stream.encoding or "utf-8").name.startswith(("utf-8", "utf-16", "utf-32"))
    except LookupError:
        return False


def flushed(code: int) -> int:
    """The exit code once all that was printed is out: FAILED where it could not be written."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        return nobody_reads()
    except (OSError, ValueError) as error:
        drop_output()
        why = error.strerror if isinstance(error, OSError) and error.strerror else error
        print(f"spawnrun: standard output: {why}", file=sys.stderr)
        return exits.FAILED
    return code


def nobody_reads() -> int:
    """Done: whoever reads our output has enough (such as `head`). What is left must not fail at shutdown."""
    drop_output()
    return exits.DONE


def drop_output() -> None:
    """Let what is still to be printed go nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.__stdout__.fileno() if sys.__stdout__ else 1)


def _nowhere() -> TextIO:
    return cast(TextIO, open(os.devnull, "w", encoding="utf-8"))  # noqa: PTH123 - open until the process ends
