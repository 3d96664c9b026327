"""The server: opened on this machine alone or in its network, over HTTP or TLS, until Ctrl-C."""

import logging
import signal
import socket
import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from threading import current_thread, main_thread

import uvicorn

from farm.store import Farm
from farm.store.errors import SpawnrunError
from farm.workers import all_cores
from phone.addresses import EVERYWHERE, LOOPBACK, Site, lan_addresses, make_site
from phone.app import make_app
from phone.connections import GuardedConnection
from phone.farm_state import FarmState
from phone.keys import PhoneKeys
from phone.measuring import Measuring
from phone.pictures import Pictures
from phone.qr import pairing_path
from phone.site_state import SiteState

#: The usual port: the address stays the same, so that a phone finds the page again.
USUAL_PORT = 8714
_BACKLOG = 128
_IDLE_SECONDS, _END_SECONDS = 20, 5
_LARGEST_HEAD = 16_384
_MOST_FILES = 4096


class ServeError(SpawnrunError):
    """The page cannot be served as asked."""


@dataclass(frozen=True)
class ServeOptions:
    """How to serve. lan: to phones in the same network; name: by which they know this machine; workers: that measure.

    port 0 takes a free one. certificate, key: PEM files for TLS, both or neither.
    """

    lan: bool = False
    port: int = USUAL_PORT
    name: str = ""
    certificate: Path | None = None
    key: Path | None = None
    workers: int | None = None


class PhoneServer:
    """A farm's page, ready to be served. keys: its phones; site: where it is."""

    def __init__(self, farm: Farm, options: ServeOptions, sockets: list[socket.socket]) -> None:
        is_tls = options.certificate is not None
        self.site: Site = make_site(sockets[0].getsockname()[1], lan=options.lan, name=options.name, is_tls=is_tls)
        self.keys = PhoneKeys(farm.folder)
        measuring = Measuring(farm.folder, options.workers or all_cores(), farm.settings.as_of)
        self.state = FarmState(farm, measuring.refresh)
        measuring.on_outlooks, measuring.on_photos = self.state.take_outlooks, self.state.forget
        shared = SiteState(farm, self.site, self.keys, self.state, measuring, Pictures(farm))
        self._sockets = sockets
        self._server = uvicorn.Server(_settings(shared, options))

    @property
    def is_started(self) -> bool:
        """Whether it answers already."""
        return self._server.started

    def serve(self) -> None:
        """Answer until Ctrl-C, or until stop() is called; a termination signal ends it in the same way."""
        if current_thread() is main_thread():
            signal.signal(signal.SIGTERM, signal.default_int_handler)
        with suppress(KeyboardInterrupt):
            self._server.run(sockets=self._sockets)

    def stop(self) -> None:
        """End it, from another thread."""
        self._server.should_exit = True


@contextmanager
def phone_server(farm: Farm, options: ServeOptions) -> Iterator[PhoneServer]:
    """A farm's page; its address is known, and it is served by serve(). Raises ServeError."""
    if (options.certificate is None) != (options.key is None):
        raise ServeError("--certificate and --key go together: the certificate, and the key that it was made with")
    if options.lan and not lan_addresses():
        raise ServeError("this machine is in no network: connect it to the one that the phone is in")
    _check_certificate(options)
    _raise_limit_of_files()
    try:
        opened = socket.create_server((EVERYWHERE if options.lan else LOOPBACK, options.port), backlog=_BACKLOG)
    except (OSError, OverflowError) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise ServeError(f"port {options.port}: {why}; give another with --port") from None
    with opened:
        yield PhoneServer(farm, options, [opened])


def pairing_address(address: str, code: str) -> str:
    """The address that pairs a phone, as the QR code has it. address: of the page."""
    return f"{address}{pairing_path(code)}"


def _settings(shared: SiteState, options: ServeOptions) -> uvicorn.Config:
    logging.getLogger("uvicorn.error").setLevel(logging.ERROR)
    return uvicorn.Config(
        make_app(shared),
        http=GuardedConnection,
        ws="none",
        loop="asyncio",
        lifespan="on",
        log_config=None,
        access_log=False,  # addresses and what was asked for are nobody's business
        server_header=False,
        date_header=True,
        proxy_headers=False,
        timeout_keep_alive=_IDLE_SECONDS,
        timeout_graceful_shutdown=_END_SECONDS,
        h11_max_incomplete_event_size=_LARGEST_HEAD,
        ssl_certfile=options.certificate,
        ssl_keyfile=options.key,
    )


def _check_certificate(options: ServeOptions) -> None:
    if options.certificate is None or options.key is None:
        return
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(options.certificate, options.key)
    except OSError as error:  # ssl.SSLError is one
        raise ServeError(f"{options.certificate} and {options.key}: {error.strerror or error}") from None


def _raise_limit_of_files() -> None:
    """A thousand connections at once must not keep the farm from opening its own files."""
    try:
        import resource
    except ImportError:
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = _MOST_FILES if hard == resource.RLIM_INFINITY else min(_MOST_FILES, hard)
    if soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
