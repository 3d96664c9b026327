"""Splits a long series into chunks, so that cost and memory do not grow with all the photos of a vessel."""

from collections.abc import Sequence
from dataclasses import dataclass

#: Photos of a chunk; and what is read with it: the vessel's first ones (its bare surface), and those just before.
OWN, FIRST, BEFORE = 32, 2, 6


@dataclass(frozen=True)
class Chunk:
    """Places in a series (from 0, in order of time): own are read for good, context only helps to read them."""

    own: tuple[int, ...]
    context: tuple[int, ...]


def split_series(places: Sequence[int]) -> list[Chunk]:
    """The chunks of a series whose photos stand at these places; a photo at its end changes the last one alone.

    A series of up to OWN photos is one chunk without context.
    """
    found = []
    for start in range(0, len(places), OWN):
        context = dict.fromkeys([*places[: min(FIRST, start)], *places[max(0, start - BEFORE) : start]])
        found.append(Chunk(tuple(places[start : start + OWN]), tuple(context)))
    return found
