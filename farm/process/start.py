"""What a worker process does first. It loads nothing but the standard library, so that it is done at once."""

import os
from multiprocessing import parent_process
from threading import Thread


def start_worker() -> None:
    """In a new worker: it ends when its parent does, even if that is killed or dead already, and works with one thread.

    Before it loads anything large: that can take long on a busy machine, and must not outlive the parent either.
    """
    Thread(target=_end_with_parent, name="end with parent", daemon=True).start()
    import cv2

    cv2.setNumThreads(1)


def _end_with_parent() -> None:
    # A worker waits for its next job on a queue whose other end its fellows hold too: it would wait for ever. What it
    # shares with its parent alone, on every system, is what multiprocessing lets it wait on.
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
