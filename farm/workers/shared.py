"""Facts that many jobs share, sent to workers as bytes that each worker unpacks once."""

import pickle
from collections import OrderedDict
from hashlib import sha256
from typing import Any, Generic, TypeVar

Value = TypeVar("Value")

#: Shared facts that a worker keeps unpacked, by their digest: those of the run it works on, and of the one before.
_KEPT = 2
_unpacked: "OrderedDict[str, Any]" = OrderedDict()


class Shared(Generic[Value]):
    """A value that is packed once, however many jobs it goes with."""

    def __init__(self, value: Value) -> None:
        self.value = value
        self._packed: tuple[str, bytes] | None = None

    def __reduce__(self) -> tuple[Any, ...]:
        """As digest and bytes."""
        if self._packed is None:
            content = pickle.dumps(self.value, protocol=pickle.HIGHEST_PROTOCOL)
            self._packed = sha256(content).hexdigest(), content
        return _unpack, self._packed


def _unpack(digest: str, content: bytes) -> Shared[Any]:
    if digest not in _unpacked:
        _unpacked[digest] = Shared(pickle.loads(content))  # noqa: S301 - packed by ourselves, as all that workers get
        while len(_unpacked) > _KEPT:
            _unpacked.popitem(last=False)
    kept: Shared[Any] = _unpacked[digest]
    return kept
