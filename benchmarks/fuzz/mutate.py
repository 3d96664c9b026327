"""Change bytes at random, like damage or an attack; the same seed gives the same file."""

import random
from collections.abc import Callable, Sequence

#: Numbers written into lengths and sizes in headers (1, 2 and 4 bytes, either byte order).
_EXTREMES = (
    b"\x00", b"\xff", b"\x7f", b"\x80", b"\x00\x00", b"\xff\xff", b"\x7f\xff", b"\xff\x7f", b"\x00" * 4, b"\xff" * 4,
    b"\x7f\xff\xff\xff", b"\xff\xff\xff\x7f", b"\x00\x00\x75\x30", b"\x30\x75\x00\x00",
)  # fmt: skip
#: Most headers lie within this many bytes from the start.
_HEADER = 700


def mutated(content: bytes, chance: random.Random, others: Sequence[bytes] = ()) -> bytes:
    """The content with one to four changes. others: contents from which pieces may be taken."""
    for _ in range(chance.choice((1, 1, 1, 2, 3, 4))):
        change = chance.choice(_CHANGES)
        content = change(content, chance) if content else content
    if others and chance.random() < 0.05:
        other = chance.choice(others)
        content = content[: chance.randrange(len(content) + 1)] + other[chance.randrange(len(other)) :]
    return content


def _place(content: bytes, chance: random.Random) -> int:
    """A position in the content, half of the time in its header."""
    return chance.randrange(min(_HEADER, len(content)) if chance.random() < 0.6 else len(content))


def _flip(content: bytes, chance: random.Random) -> bytes:
    changed = bytearray(content)
    for _ in range(chance.choice((1, 1, 2, 8, 64))):
        changed[_place(content, chance)] ^= 1 << chance.randrange(8)
    return bytes(changed)


def _noise(content: bytes, chance: random.Random) -> bytes:
    at = _place(content, chance)
    return content[:at] + (some := chance.randbytes(chance.choice((1, 2, 4, 32, 400)))) + content[at + len(some) :]


def _extreme(content: bytes, chance: random.Random) -> bytes:
    at, number = _place(content, chance), chance.choice(_EXTREMES)
    return content[:at] + number + content[at + len(number) :]


def _cut(content: bytes, chance: random.Random) -> bytes:
    return content[: chance.randrange(len(content))]


def _remove(content: bytes, chance: random.Random) -> bytes:
    at = _place(content, chance)
    return content[:at] + content[at + chance.choice((1, 2, 16, 300)) :]


def _repeat(content: bytes, chance: random.Random) -> bytes:
    at = _place(content, chance)
    return content[:at] + content[at : at + chance.choice((1, 4, 64, 1000))] * chance.choice((2, 2, 30)) + content[at:]


_CHANGES: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    _flip, _flip, _noise, _extreme, _extreme, _cut, _remove, _repeat,
)  # fmt: skip
