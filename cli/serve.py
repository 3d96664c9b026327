"""`spawnrun serve`: the farm's page for phones at the shelf."""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated
from urllib.parse import urlsplit

import typer

from cli.options import FarmOption, Format, WorkersOption, chosen_farm
from cli.render import Column, echo, print_list, say
from cli.streams import shows_all
from farm.store import Farm, iso
from farm.store.errors import SpawnrunError
from phone import Phone, PhoneKeys, PhoneServer, ServeOptions, pairing_address, phone_server, qr_text
from report import private_link

#: The usual port, as phone.USUAL_PORT has it: help must not load a web server. A test holds one to the other.
PORT = 8714


@dataclass(frozen=True)
class PhoneRecord:
    """A paired phone, as printed. until: "" where it stays paired until it is revoked."""

    name: str
    id: str
    paired_at: str
    last_used: str
    until: str


COLUMNS = (
    Column("name", lambda one: one["name"]),
    Column("id", lambda one: one["id"]),
    Column("paired", lambda one: one["paired_at"].replace("T", " ")),
    Column("last used", lambda one: one["last_used"].replace("T", " ")),
    Column("until", lambda one: one["until"].replace("T", " ")),
)


def serve(
    lan: Annotated[
        bool, typer.Option("--lan", help="Also to phones in the same network; else to this machine.")
    ] = False,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Where to listen; 0 takes a free one.")] = PORT,
    name: Annotated[
        str, typer.Option("--name", metavar="NAME", help="With --lan: a name that the network has for this machine.")
    ] = "",
    certificate: Annotated[
        Path | None, typer.Option("--certificate", metavar="FILE", help="Encrypt (TLS): the certificate, PEM.")
    ] = None,
    key: Annotated[Path | None, typer.Option("--key", metavar="FILE", help="The certificate's key, PEM.")] = None,
    pair: Annotated[bool, typer.Option("--pair", help="Show a code for one more phone, and stop.")] = False,
    phones: Annotated[bool, typer.Option("--phones", help="List the paired phones, and stop.")] = False,
    revoke: Annotated[
        str | None, typer.Option("--revoke", metavar="PHONE", help="Unpair a phone, by its name or id, and stop.")
    ] = None,
    workers: WorkersOption = None,
    folder: FarmOption = None,
) -> None:
    """Serve the farm to a phone: take photos and read the answers, tick today's list, review, look vessels up.

    A phone is paired by the code that is printed; nothing is served to one that is not. Without --lan nothing is served
    beyond this machine. `measure --watch` may run beside it.

    \b
    Examples: spawnrun serve --lan
              spawnrun serve --lan --name farm.example --certificate farm.pem --key farm.key
              spawnrun serve --phones
              spawnrun serve --revoke "Ann's phone"
    """  # noqa: D301 - the mark that keeps lines as they are
    with chosen_farm(folder) as farm:
        if revoke is not None:
            _revoke(farm, revoke)
        elif pair:
            _print_code(PhoneKeys(farm.folder), PhoneKeys(farm.folder).address)
        elif phones:
            known = [_record(farm, one) for one in PhoneKeys(farm.folder).phones()]
            print_list(known, COLUMNS, Format.table, if_empty="no phone is paired; `spawnrun serve --lan` pairs one")
        else:
            options = ServeOptions(lan, port, name, certificate, key, workers)
            with phone_server(farm, options) as server:
                _serve(server)


def serve_review(farm: Farm, port: int, *, browser: bool) -> None:
    """Serve the page to a browser on this machine until Ctrl-C, opened at the review; then nobody can open it again."""
    with phone_server(farm, ServeOptions(port=port)) as server:
        before = {one.id for one in server.keys.phones()}
        code = server.keys.new_code(desk=True)
        address = f"{pairing_address(server.site.address, code)}/review"
        echo(f"review: {address}  (Ctrl-C ends it)")
        sys.stdout.flush()
        try:
            if browser:
                with private_link(address) as link:
                    typer.launch(link)
                    server.serve()
            else:
                server.serve()
        finally:
            for one in server.keys.phones():
                if one.until is not None and one.id not in before:
                    server.keys.revoke(one.id)


def _serve(server: PhoneServer) -> None:
    """Serve until Ctrl-C."""
    site = server.site
    server.keys.note_address(site.address)
    echo(f"serving {site.address}  (Ctrl-C ends it)")
    if not site.is_lan:
        say("only on this machine; --lan serves it to phones in the same network")
    elif not site.is_tls:
        say("plain HTTP: whoever is in the same network can read along; --certificate and --key encrypt")
    _print_code(server.keys, site.address)
    server.serve()
    say("serving ended")


def _print_code(keys: PhoneKeys, address: str) -> None:
    if not address:
        raise SpawnrunError("this farm is not served yet: `spawnrun serve` serves it, and shows a code")
    code = keys.new_code()
    if urlsplit(address).hostname == "127.0.0.1":
        say(f"for a browser on this machine, once, within ten minutes: open {address} and write {code}")
        say("no QR code: a phone cannot open an address of this machine alone; for phones: `spawnrun serve --lan`")
        sys.stdout.flush()
        return
    scanned = pairing_address(address, code)
    picture = qr_text(scanned, coloured=sys.stdout.isatty())
    say(f"to pair a phone, once, within ten minutes: scan this, or open {address} there and write {code}")
    echo(picture if shows_all(sys.stdout) else scanned)
    say("for another phone: `spawnrun serve --pair` in a second terminal, or More on a paired phone")
    sys.stdout.flush()


def _revoke(farm: Farm, wanted: str) -> None:
    gone = PhoneKeys(farm.folder).revoke(wanted)
    if not gone:
        raise SpawnrunError(f"no phone {wanted!r} is paired; `spawnrun serve --phones` lists them")
    for one in gone:
        echo(f"{one.name}: unpaired")


def _record(farm: Farm, one: Phone) -> PhoneRecord:
    until = "" if one.until is None else iso(one.until, farm.zone)
    return PhoneRecord(one.name, one.id, iso(one.paired_at, farm.zone), iso(one.seen_at, farm.zone), until)
