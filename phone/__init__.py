"""The local page for a phone at the shelf: take photos, read the answers at once, judge, tick today's list."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from phone.keys import DESK_NAME, Phone, PhoneKeys
    from phone.qr import qr_text
    from phone.server import USUAL_PORT, PhoneServer, ServeOptions, pairing_address, phone_server

__all__ = [
    "DESK_NAME",
    "USUAL_PORT",
    "Phone",
    "PhoneKeys",
    "PhoneServer",
    "ServeOptions",
    "pairing_address",
    "phone_server",
    "qr_text",
]

#: Names by the module that has them, loaded when one is first asked for: a list of phones needs no web server.
_MODULES = {
    "DESK_NAME": "keys",
    "USUAL_PORT": "server",
    "Phone": "keys",
    "PhoneKeys": "keys",
    "PhoneServer": "server",
    "ServeOptions": "server",
    "pairing_address": "server",
    "phone_server": "server",
    "qr_text": "qr",
}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - type checkers see the imports above
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"phone.{_MODULES[name]}"), name)
