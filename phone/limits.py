"""How often something may be done: buckets of tokens that fill up again."""

import time
from collections import OrderedDict
from threading import Lock

#: Most clients that are told apart; the one that was away longest is forgotten.
_MOST_CLIENTS = 2000


class Rate:
    """So many at once, and so many a second on average, for each client by itself."""

    def __init__(self, at_once: int, a_second: float) -> None:
        self._at_once = float(at_once)
        self._a_second = a_second
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._lock = Lock()

    def take(self, client: str, at: float | None = None) -> bool:
        """Whether it may be done once more. at: seconds on any clock that only runs forward; None: the machine's."""
        moment = time.monotonic() if at is None else at
        with self._lock:
            left, since = self._left.pop(client, (self._at_once, moment))
            left = min(self._at_once, left + (moment - since) * self._a_second)
            may = left >= 1.0
            self._left[client] = (left - 1.0 if may else left, moment)
            if len(self._left) > _MOST_CLIENTS:
                self._left.popitem(last=False)
        return may
