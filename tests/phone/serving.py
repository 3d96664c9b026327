"""A farm's page, served while a test runs, and a phone that is paired with it."""

import http.client
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from urllib.parse import urlencode

from farm.store import Farm
from phone import PhoneServer, ServeOptions, phone_server
from phone.keys import form_token

FORM = {"Content-Type": "application/x-www-form-urlencoded"}


@contextmanager
def served(farm: Farm, options: ServeOptions | None = None) -> Iterator[PhoneServer]:
    """The page of a farm at a free port, served until the block ends."""
    with phone_server(farm, options or ServeOptions(port=0, workers=1)) as server:
        thread = threading.Thread(target=server.serve, daemon=True)
        thread.start()
        until = time.monotonic() + 60
        while not server.is_started and time.monotonic() < until:
            time.sleep(0.02)
        try:
            yield server
        finally:
            server.stop()
            thread.join(timeout=60)
            assert not thread.is_alive()


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    content: bytes

    @property
    def text(self) -> str:
        return self.content.decode("utf-8", "replace")


@dataclass
class Client:
    """What a paired phone sends, without a browser. cookie: "" for one that is not paired."""

    server: PhoneServer
    cookie: str = ""
    headers: dict[str, str] = field(default_factory=dict)

    @property
    def token(self) -> str:
        return form_token(self.cookie)

    def ask(self, method: str, path: str, body: bytes | str | None = None, **headers: str) -> Answer:
        site = self.server.site
        sent = {"Accept": "text/html"} | self.headers
        if self.cookie:
            sent["Cookie"] = f"{site.cookie}={self.cookie}"
        if method not in ("GET", "HEAD"):
            sent["Origin"] = site.address
        sent |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", site.port, timeout=60)
        try:
            connection.request(method, path, body, {name: value for name, value in sent.items() if value != "-"})
            answer = connection.getresponse()
            return Answer(answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read())
        finally:
            connection.close()

    def get(self, path: str, **headers: str) -> Answer:
        return self.ask("GET", path, **headers)

    def post(self, path: str, fields: dict[str, str], **headers: str) -> Answer:
        """A form with its token, unless the fields have one."""
        return self.ask("POST", path, urlencode({"token": self.token} | fields), **(FORM | headers))

    def put(self, photo_hash: str, content: bytes, **headers: str) -> Answer:
        return self.ask("PUT", f"/photos/{photo_hash}", content, **({"X_Form_Token": self.token} | headers))


def paired(server: PhoneServer, name: str = "a phone") -> Client:
    """A phone that was paired by a code."""
    return Client(server, server.keys.pair(server.keys.new_code(), name)[1])
