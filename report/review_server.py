"""Serve the review page to this machine only: page, style, script, and the farm's faces.

Another site open in the same browser, or another user of this machine, must not be able to post a verdict or read a
face. So the page's address has a key that nobody can guess, the server listens on the loopback address only, checks the
Host header, accepts a verdict only with the form's token and from its own pages (Origin), and forbids framing,
sniffing, caching and external content (Content-Security-Policy, level 3).
"""

import re
import secrets
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cached_property
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from typing import Any
from urllib.parse import parse_qs, urlsplit

from farm.pictures import crop_jpeg, damaged_face_jpeg, ringed_jpeg
from farm.store import Farm
from farm.store.errors import DamagedFaceError, SpawnrunError
from report.review_html import review_html
from report.review_session import ReviewSession

LOOPBACK = "127.0.0.1"
_POLICY = (
    "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not "no-referrer": with it a browser sends no Origin, not even to the page's own server.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}
_LARGEST_FORM = 20_000
_PICTURE = re.compile(
    r"/(spot|face)/([0-9a-f]{64})-([0-9]{1,4})/(-?[0-9]{1,5}),(-?[0-9]{1,5}),([0-9]{1,5}),([0-9]{1,5})\.jpg", re.ASCII
)
_ASSETS = {
    "/review.css": ("text/css; charset=utf-8", ("palette.css", "review.css")),
    "/review.js": ("text/javascript; charset=utf-8", ("review.js",)),
}


class ReviewServer(ThreadingHTTPServer):
    """Serves one farm on the loopback address. url: where the page is; serve() runs until Ctrl-C or shutdown()."""

    daemon_threads = True

    def __init__(self, farm: Farm, port: int) -> None:
        super().__init__((LOOPBACK, port), _Handler)
        self.farm = farm
        self.token = secrets.token_urlsafe(32)
        self.root = f"/{secrets.token_urlsafe(16)}"
        self.session = ReviewSession(farm)

    @cached_property
    def url(self) -> str:
        """Address of the page; whoever knows it can read and judge."""
        return f"http://{LOOPBACK}:{self.server_address[1]}{self.root}/"

    @cached_property
    def names(self) -> frozenset[str]:
        """Host headers that this server accepts."""
        return frozenset(f"{name}:{self.server_address[1]}" for name in (LOOPBACK, "localhost"))

    def handle_error(self, request: Any, client_address: Any) -> None:  # noqa: ANN401 - whatever the base class hands over
        """Ignore connections that the browser closed early; report anything else as usual."""
        if not isinstance(sys.exception(), OSError):
            super().handle_error(request, client_address)

    def serve(self) -> None:
        """Answer requests until Ctrl-C or shutdown()."""
        try:
            self.serve_forever(poll_interval=0.2)
        except KeyboardInterrupt:
            return


@contextmanager
def review_page(farm: Farm, port: int = 0) -> Iterator[ReviewServer]:
    """A running review server on the loopback address at a port (0: a free one); closed at the end."""
    with ReviewServer(farm, port) as server:
        yield server


class _Handler(BaseHTTPRequestHandler):
    server: ReviewServer
    # Do not reveal versions in the Server header.
    server_version, sys_version = "spawnrun", ""
    #: Idle connections are closed after this many seconds.
    timeout = 60

    def do_GET(self) -> None:
        if not self._is_for_us():
            return
        try:
            self._get()
        except SpawnrunError as error:  # records that are busy, or a server that is gone
            self._refuse(HTTPStatus.SERVICE_UNAVAILABLE, f"not done: {error}; reload the page to try again")

    def _get(self) -> None:
        path = self._path()
        if path == "/":
            self._send(review_html(self.server.session.page(self.server.token)).encode(), "text/html; charset=utf-8")
        elif path in _ASSETS:
            kind, names = _ASSETS[path]
            self._send(b"".join((files("report") / "templates" / name).read_bytes() for name in names), kind)
        elif path == "/favicon.ico":
            self._send(b"", "image/x-icon", HTTPStatus.NO_CONTENT)
        elif (match := _PICTURE.fullmatch(path)) is not None:
            self._send_picture(match)
        else:
            self._refuse(HTTPStatus.NOT_FOUND, "nothing here")

    def do_POST(self) -> None:
        if not self._is_for_us():
            return
        form = self._form()
        if form is None:
            return
        if not secrets.compare_digest(form.get("token", "").encode(), self.server.token.encode()):
            self._refuse(HTTPStatus.FORBIDDEN, "this form is out of date; reload the page")
            return
        try:
            if self._path() == "/verdict":
                place = self.server.session.give(form)
            elif self._path() == "/undo":
                place = self.server.session.undo(form)
            else:
                self._refuse(HTTPStatus.NOT_FOUND, "nothing here")
                return
        except (SpawnrunError, ValueError) as error:
            place = self.server.session.tell(f"Not done: {error}")
        self.send_response(HTTPStatus.SEE_OTHER)
        self.send_header("Location", f"{self.server.root}/#{place}")
        self._end_headers(0)

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:  # noqa: ARG002
        """Errors of the base class (unknown method, line too long), with this server's headers."""
        self.close_connection = True
        self._refuse(HTTPStatus(code), HTTPStatus(code).phrase)

    def log_message(self, *_: Any) -> None:  # noqa: ANN401 - whatever the base class hands over
        """Log nothing: verdicts are stored in the records."""

    def _is_for_us(self) -> bool:
        if self.headers.get("Host", "") not in self.server.names:
            self._refuse(HTTPStatus.FORBIDDEN, "wrong host name")
            return False
        if not secrets.compare_digest(self.path[: len(root := f"{self.server.root}/")].encode(), root.encode()):
            self._refuse(HTTPStatus.FORBIDDEN, "open the page by the whole address that spawnrun printed")
            return False
        origin = self.headers.get("Origin")
        if origin is not None and origin not in {f"http://{name}" for name in self.server.names}:
            self._refuse(HTTPStatus.FORBIDDEN, "request from another site")
            return False
        return True

    def _path(self) -> str:
        """What is asked for, without the key."""
        return urlsplit(self.path).path.removeprefix(self.server.root)

    def _form(self) -> dict[str, str] | None:
        """The fields of a posted form; None after a refusal."""
        length = self.headers.get("Content-Length", "")
        kind = self.headers.get_content_type()
        is_sane = length.isdecimal() and len(length) <= len(str(_LARGEST_FORM)) and int(length) <= _LARGEST_FORM
        if not is_sane or kind != "application/x-www-form-urlencoded":
            self._refuse(HTTPStatus.BAD_REQUEST, "not a valid form")
            return None
        try:
            fields = parse_qs(self.rfile.read(int(length)).decode(), keep_blank_values=True, max_num_fields=12)
        except ValueError:
            self._refuse(HTTPStatus.BAD_REQUEST, "not a valid form")
            return None
        return {name: values[-1] for name, values in fields.items()}

    def _send_picture(self, match: re.Match[str]) -> None:
        left, top, width, height = (int(match[n]) for n in (4, 5, 6, 7))
        make = crop_jpeg if match[1] == "spot" else ringed_jpeg
        try:
            jpeg = make(self.server.farm, match[2], int(match[3]), (left, top, width, height))
        except DamagedFaceError:
            jpeg = damaged_face_jpeg()
        if jpeg is None:
            self._refuse(HTTPStatus.NOT_FOUND, "no such face")
        else:
            self._send(jpeg, "image/jpeg")

    def _send(self, content: bytes, kind: str, status: HTTPStatus = HTTPStatus.OK) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self._end_headers(len(content))
        self.wfile.write(content)

    def _refuse(self, status: HTTPStatus, why: str) -> None:
        self._send(f"{why}\n".encode(), "text/plain; charset=utf-8", status)

    def _end_headers(self, length: int) -> None:
        for name, value in _HEADERS.items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(length))
        self.end_headers()
