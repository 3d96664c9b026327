"""A progress bar on standard error while long work runs on a terminal; silence when piped."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

_WORDS = {
    "files": "looking through files",
    "photos": "measuring photos",
    "series": "reading series",
    "maps": "writing class maps",
    "faces": "going through faces",
    "originals": "going through photos",
    "parts": "restoring",
}


@contextmanager
def progress_bar() -> Iterator[Callable[[str, int, int], None]]:
    """Give a function to call with (stage, done, total)."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn, TimeRemainingColumn

    parts = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*parts, console=Console(stderr=True), transient=True, disable=not sys.stderr.isatty()) as bar:
        stages: dict[str, TaskID] = {}

        def progress(stage: str, n_done: int, n_total: int) -> None:
            if stage not in stages:
                stages[stage] = bar.add_task(_WORDS.get(stage, stage), total=n_total)
            bar.update(stages[stage], completed=n_done)

        yield progress
