"""Connections: how many at once, from where, and for how long they may be silent."""

import asyncio
from typing import Any

from h11 import ERROR
from uvicorn.protocols.http.h11_impl import H11Protocol

from phone.addresses import is_near

#: Connections in all, and from one address: a browser opens six.
MOST_CONNECTIONS, MOST_FROM_ONE = 240, 60
#: A request's head must be there after so many seconds; of its body something must come within so many.
HEAD_SECONDS, BODY_SECONDS = 15.0, 30.0
_REFUSAL = (
    b"HTTP/1.1 400 Bad Request\r\ncontent-type: text/plain; charset=utf-8\r\ncontent-length: 16\r\n"
    b"content-security-policy: default-src 'none'\r\nx-content-type-options: nosniff\r\ncache-control: no-store\r\n"
    b"connection: close\r\n\r\nnot a request\r\n\n"
)


class GuardedConnection(H11Protocol):
    """A connection that is closed at once if there are too many, and later if nothing comes.

    The base class waits for ever for a request that was begun.
    """

    _timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Turn away strangers and what is too much."""
        super().connection_made(transport)
        mine = self._host_of(self)
        from_one = sum(self._host_of(one) == mine for one in self.connections)
        crowded = len(self.connections) > MOST_CONNECTIONS or from_one > MOST_FROM_ONE
        if mine is None or crowded or not is_near(mine):
            self.connections.discard(self)
            transport.abort()
            return
        self._wait_for(HEAD_SECONDS)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the timer."""
        self._stop_waiting()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Read on; what comes of a body starts its time anew, what comes of a head does not."""
        if self.transport.is_closing():
            return
        super().data_received(data)
        if self.cycle is None or self.cycle.response_complete:
            if self._timer is None:
                self._wait_for(HEAD_SECONDS)
        elif self.cycle.more_body:
            self._wait_for(BODY_SECONDS)
        else:
            self._stop_waiting()

    def send_400_response(self, msg: str) -> None:  # noqa: ARG002 - the base class's words are not ours
        """Refuse what is no HTTP, with the headers of every answer."""
        if self.conn.our_state is not ERROR and not self.transport.is_closing():
            self.transport.write(_REFUSAL)
        self.transport.close()

    def handle_websocket_upgrade(self, event: Any) -> None:  # noqa: ANN401, ARG002 - whatever the base class hands over
        """There are no web sockets here."""
        self.send_400_response("")

    def _unsupported_upgrade_warning(self) -> None:
        """Say nothing: anybody can send such a request."""

    @staticmethod
    def _host_of(connection: Any) -> str | None:  # noqa: ANN401 - connections of any protocol
        client = getattr(connection, "client", None)
        return None if client is None else str(client[0])

    def _wait_for(self, seconds: float) -> None:
        self._stop_waiting()
        self._timer = self.loop.call_later(seconds, self._give_up)

    def _stop_waiting(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _give_up(self) -> None:
        self._timer = None
        self.transport.abort()
