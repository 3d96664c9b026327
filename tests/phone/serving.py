"""A farm's review page, served while a test runs."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from farm.store import Farm
from report import ReviewServer, review_page


@contextmanager
def served(farm: Farm) -> Iterator[ReviewServer]:
    """The review page of a farm, served until the block ends."""
    with review_page(farm) as server:
        thread = threading.Thread(target=server.serve, daemon=True)
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join(timeout=30)
            assert not thread.is_alive()
