"""Paired phones: one-time codes that become a phone's own key. Only hashes of both are kept, in the farm's folder."""

import json
import secrets
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from hmac import compare_digest
from hmac import digest as hmac_digest
from pathlib import Path
from threading import Lock

from farm.store import file_lock, now, replace_file
from farm.store.errors import FarmBusyError, SpawnrunError

PHONES_FILE = "phones.json"
#: A code pairs one phone within this time.
CODE_LASTS = timedelta(minutes=10)
#: Name of a browser on this machine that a command opened, and how long it stays paired.
DESK_NAME = "this computer"
DESK_LASTS = timedelta(hours=12)
#: Without the signs that are mistaken for each other when read aloud: 30 of them, so 12 have 58 bits.
_SIGNS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
_CODE_LENGTH, _GROUP = 12, 4
_MOST_PHONES, _MOST_CODES = 100, 20
_LONGEST_NAME = 40
_LOCK_SECONDS = 5.0


class PairingError(SpawnrunError):
    """A phone cannot be paired."""


@dataclass(frozen=True)
class Phone:
    """A paired phone. until: when its key ends, None: when it is revoked. seen_at: about when it was last used."""

    id: str
    name: str
    key_hash: str
    paired_at: datetime
    seen_at: datetime
    until: datetime | None = None


@dataclass(frozen=True)
class _Kept:
    """What the file holds. codes: by hash of the code, until when it pairs, and whether it pairs this computer.

    address: where the page was served last.
    """

    phones: tuple[Phone, ...] = ()
    codes: dict[str, tuple[datetime, bool]] = field(default_factory=dict)
    address: str = ""


class PhoneKeys:
    """The phones of one farm; several processes may use its file at once."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / PHONES_FILE
        self._lock = Lock()
        self._read_mark: tuple[int, int, int] | None = None
        self._known = _Kept()

    def new_code(self, *, desk: bool = False) -> str:
        """A fresh one-time code, such as "K7QD-M3XW-9FHT". desk: it pairs a browser on this machine, for some hours."""
        plain = "".join(secrets.choice(_SIGNS) for _ in range(_CODE_LENGTH))
        with self._changing() as kept:
            codes = list(kept.codes.items())[-_MOST_CODES + 1 :]
            yielded = dict(codes) | {_code_hash(plain): (now() + CODE_LASTS, desk)}
            self._write(replace(kept, codes=yielded))
        return "-".join(plain[start : start + _GROUP] for start in range(0, _CODE_LENGTH, _GROUP))

    def is_open(self, code: str) -> bool:
        """Whether a code still pairs a phone."""
        return _code_hash(code) in self._current().codes

    def pair(self, code: str, name: str) -> tuple[Phone, str]:
        """Use up a code: the phone of this name, and its key for the cookie. Raises PairingError."""
        with self._changing() as kept:
            codes = dict(kept.codes)
            used = codes.pop(_code_hash(code), None)
            if used is None:
                raise PairingError("this code was used, is older than ten minutes, or was mistyped")
            if len(kept.phones) >= _MOST_PHONES:
                raise PairingError(f"{_MOST_PHONES} phones are paired: revoke some first")
            desk = used[1]
            key = secrets.token_urlsafe(32)
            phone = Phone(
                id=secrets.token_hex(6),
                name=_free_name(DESK_NAME if desk else name, kept.phones),
                key_hash=_key_hash(key),
                paired_at=now(),
                seen_at=now(),
                until=now() + DESK_LASTS if desk else None,
            )
            self._write(replace(kept, phones=(*kept.phones, phone), codes=codes))
        return phone, f"{phone.id}.{key}"

    def phone_of(self, cookie: str) -> Phone | None:
        """The phone whose key this is; None for a revoked, outdated or unknown one."""
        name, _, key = cookie.partition(".")
        hashed = _key_hash(key)
        for one in self._current().phones:
            if compare_digest(one.id.encode(), name.encode()) and compare_digest(one.key_hash, hashed):
                self._note_use(one)
                return one
        return None

    def phones(self) -> tuple[Phone, ...]:
        """The paired phones, the oldest first."""
        return self._current().phones

    def revoke(self, wanted: str) -> list[Phone]:
        """Unpair the phones of this name or id, whatever the case; those that were unpaired."""
        same = wanted.strip().casefold()
        with self._changing() as kept:
            gone = [one for one in kept.phones if same in (one.id.casefold(), one.name.casefold())]
            if gone:
                self._write(replace(kept, phones=tuple(one for one in kept.phones if one not in gone)))
        return gone

    @property
    def address(self) -> str:
        """Where the page was served last; "" where it never was."""
        return self._current().address

    def note_address(self, address: str) -> None:
        """Keep where the page is served, for who makes a code from another terminal."""
        with self._changing() as kept:
            self._write(replace(kept, address=address))

    def _note_use(self, phone: Phone) -> None:
        """Once an hour is enough to tell which phone is still in use."""
        if now() - phone.seen_at < timedelta(hours=1):
            return
        with self._changing() as kept:
            phones = (replace(one, seen_at=now()) if one.id == phone.id else one for one in kept.phones)
            self._write(replace(kept, phones=tuple(phones)))

    def _current(self) -> _Kept:
        """What the file holds now, without what has ended; read again when it was changed, by whom ever."""
        with self._lock:
            return self._read()

    def _read(self) -> _Kept:
        try:
            stat = self._file.stat()
        except FileNotFoundError:
            self._read_mark, self._known = None, _Kept()
            return self._known
        mark = (stat.st_mtime_ns, stat.st_size, stat.st_ino)
        if mark != self._read_mark:
            self._known = _decoded(self._file)
            self._read_mark = mark
        moment = now()
        phones = tuple(one for one in self._known.phones if one.until is None or one.until > moment)
        codes = {code: facts for code, facts in self._known.codes.items() if facts[0] > moment}
        return _Kept(phones, codes, self._known.address)

    @contextmanager
    def _changing(self) -> Iterator[_Kept]:
        """What the file holds, while no other thread and no other process changes it."""
        with self._lock, _locked(self._file.with_name(f".{PHONES_FILE}.lock")):
            self._read_mark = None  # read it anew, whatever its time and size say
            yield self._read()

    def _write(self, kept: _Kept) -> None:
        content = {
            "phones": [{**asdict(one), **_times(one)} for one in kept.phones],
            "address": kept.address,
            "codes": {code: [until.isoformat(), desk] for code, (until, desk) in kept.codes.items()},
        }
        replace_file(self._file, (json.dumps(content, indent=1) + "\n").encode())
        self._file.chmod(0o600)
        self._read_mark = None


def form_token(cookie: str) -> str:
    """The token that a phone's forms carry: who sees a page may know it, who has it does not learn the key."""
    return hmac_digest(cookie.encode(), b"spawnrun form", "sha256").hex()


def _times(one: Phone) -> dict[str, str | None]:
    until = None if one.until is None else one.until.isoformat()
    return {"paired_at": one.paired_at.isoformat(), "seen_at": one.seen_at.isoformat(), "until": until}


def _decoded(file: Path) -> _Kept:
    try:
        content = json.loads(file.read_text("utf-8"))
        phones = tuple(
            Phone(
                id=str(one["id"]),
                name=str(one["name"]),
                key_hash=str(one["key_hash"]),
                paired_at=_instant(one["paired_at"]),
                seen_at=_instant(one["seen_at"]),
                until=None if one["until"] is None else _instant(one["until"]),
            )
            for one in content["phones"]
        )
        codes = {str(code): (_instant(until), bool(desk)) for code, (until, desk) in content["codes"].items()}
        address = str(content["address"])
    except (ValueError, TypeError, KeyError, AttributeError, OSError) as error:
        raise PairingError(f"{file} cannot be read ({error}): remove it, and pair the phones again") from None
    return _Kept(phones, codes, address)


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


@contextmanager
def _locked(path: Path) -> Iterator[None]:
    """Keep other processes from changing the file meanwhile. Raises FarmBusyError."""
    with ExitStack() as held:
        try:
            held.enter_context(file_lock(path, _LOCK_SECONDS))
        except BlockingIOError:
            raise FarmBusyError(f"another process is changing {PHONES_FILE}; try again") from None
        yield


def _free_name(wanted: str, phones: tuple[Phone, ...]) -> str:
    """The name on one line; one that is taken is numbered."""
    name = " ".join(wanted.split())[:_LONGEST_NAME] or "phone"
    taken = {one.name.casefold() for one in phones}
    number, free = 1, name
    while free.casefold() in taken:
        number += 1
        free = f"{name} {number}"
    return free


def _code_hash(code: str) -> str:
    return sha256("".join(sign for sign in code.upper() if sign.isalnum()).encode()).hexdigest()


def _key_hash(key: str) -> str:
    """A key has 256 random bits: one round of SHA-256 is enough, since nobody can go through them."""
    return sha256(key.encode()).hexdigest()
