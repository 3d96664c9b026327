"""What stands before every page: host, origin, key, token, size and rate; and the headers of every answer."""

import logging
import secrets
from collections.abc import Awaitable, Callable
from http import HTTPStatus
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from farm.store.errors import SpawnrunError
from phone.addresses import Site
from phone.keys import PhoneKeys, form_token
from phone.limits import Rate

log = logging.getLogger(__name__)
TOKEN_HEADER = "x-form-token"  # noqa: S105 - the name of a header
_LARGEST_FORM, _MOST_FIELDS = 20_000, 40
_READS = frozenset({"GET", "HEAD"})
_CHANGES = frozenset({"POST", "PUT"})
_FORM = "application/x-www-form-urlencoded"
#: Served to everybody: how to pair, and what the pairing page is made of. None of it is the farm's.
_OPEN = ("/pair", "/static/", "/manifest.webmanifest", "/worker.js")
_POLICY = (
    "default-src 'none'; img-src 'self' blob:; style-src 'self'; script-src 'self'; connect-src 'self'; "
    "manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not "no-referrer": with it a browser sends no Origin, not even to the page's own server.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), payment=(), usb=()",
}

Answer = Callable[[Scope, Receive, Send], Awaitable[None]]


class Guard:
    """The application behind its checks. What passes has its phone in ``request.state.phone``, a form in ``.form``."""

    def __init__(self, app: ASGIApp, site: Site, keys: PhoneKeys) -> None:
        self._app = app
        self._site = site
        self._keys = keys
        self._asks = Rate(at_once=400, a_second=40)
        self._strangers = Rate(at_once=60, a_second=2)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check a request and answer it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope, receive)
        refusal: Response | None
        try:
            refusal = await self._refusal(request)
        except SpawnrunError as error:  # the file of keys cannot be read
            refusal = _refuse(HTTPStatus.SERVICE_UNAVAILABLE, str(error))
        sends = _with_headers(send)
        await (refusal or self._app)(scope, request.receive if refusal else receive, sends)

    async def _refusal(self, request: Request) -> Response | None:
        """The answer to a request that may not pass; None where it may."""
        if (why := self._stranger(request)) is not None:
            return why
        cookie = request.cookies.get(self._site.cookie, "")
        phone = self._keys.phone_of(cookie) if cookie else None
        client = request.client.host if request.client else ""
        rate = self._asks if phone else self._strangers
        if not rate.take(phone.id if phone else client):
            return _refuse(HTTPStatus.TOO_MANY_REQUESTS, "too many requests; wait a little")
        request.state.phone = phone
        request.state.token = form_token(cookie) if phone else ""
        is_open = request.url.path.startswith(_OPEN)
        if phone is None and not is_open:
            return _not_paired(request)
        return await self._check_change(request, is_open=is_open) if request.method in _CHANGES else None

    def _stranger(self, request: Request) -> Response | None:
        if request.headers.getlist("host") not in [[host] for host in self._site.hosts]:
            return _refuse(HTTPStatus.MISDIRECTED_REQUEST, "wrong host name: open the address that spawnrun printed")
        if request.method not in _READS | _CHANGES:
            return _refuse(HTTPStatus.METHOD_NOT_ALLOWED, "not allowed")
        origin = request.headers.get("origin")
        if (origin is None and request.method in _CHANGES) or (origin is not None and origin not in self._site.origins):
            return _refuse(HTTPStatus.FORBIDDEN, "request from another site")
        fetched_from = request.headers.get("sec-fetch-site", "none")
        opens_a_page = request.method == "GET" and request.headers.get("sec-fetch-mode") == "navigate"
        if fetched_from in ("cross-site", "same-site") and not opens_a_page:
            return _refuse(HTTPStatus.FORBIDDEN, "request from another site")
        return None

    async def _check_change(self, request: Request, *, is_open: bool) -> Response | None:
        """Read the form of a change, if it is one, and compare its token. A pairing has none: its code is one."""
        given = request.headers.get(TOKEN_HEADER, "")
        request.state.form = {}
        if request.headers.get("content-type", "").split(";")[0] == _FORM:
            form = await _form_of(request)
            if form is None:
                return _refuse(HTTPStatus.BAD_REQUEST, "not a valid form")
            request.state.form = form
            given = given or form.get("token", "")
        if is_open or secrets.compare_digest(given.encode(), request.state.token.encode()):
            return None
        log.warning("a change without its token was refused")
        return _refuse(HTTPStatus.FORBIDDEN, "this form is out of date; reload the page")


async def _form_of(request: Request) -> dict[str, str] | None:
    """The fields of a posted form; None for one that is too large or malformed."""
    body = b""
    length = request.headers.get("content-length", "0")
    if not (length.isascii() and length.isdecimal() and len(length) < 10 and int(length) <= _LARGEST_FORM):
        return None
    async for piece in request.stream():
        body += piece
        if len(body) > _LARGEST_FORM:
            return None
    try:
        fields = parse_qs(body.decode(), keep_blank_values=True, max_num_fields=_MOST_FIELDS)
    except ValueError:
        return None
    return {name: values[-1] for name, values in fields.items()}


def _not_paired(request: Request) -> Response:
    """Whoever opens a page is shown how to pair; scripts and pictures get a plain refusal."""
    if request.method == "GET" and "text/html" in request.headers.get("accept", ""):
        return RedirectResponse("/pair", HTTPStatus.SEE_OTHER)
    return _refuse(HTTPStatus.UNAUTHORIZED, "this phone is not paired")


def _refuse(status: HTTPStatus, why: str) -> Response:
    # What is left of its body is not read: the connection ends.
    return PlainTextResponse(f"{why}\n", status, {"Connection": "close"} if status != HTTPStatus.UNAUTHORIZED else {})


def _with_headers(send: Send) -> Send:
    async def sends(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            headers.setdefault("Cache-Control", "no-store")
        await send(message)

    return sends


def is_script(headers: Headers) -> bool:
    """Whether the page's own script asks, which wants to know how it went."""
    return headers.get("x-asked-by") == "script"
