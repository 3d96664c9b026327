"""Render another maker's scenes with more moulds on their vessels than that maker would put there.

    python -m training.segmenter.more_moulds --maker scenes --numbers 37001-37990 --out DIR [--photos 4] [--scale 0.75]
        [--samples 12] [--workers 12] [--variant cuda_ad_rgb]

A scene as its maker draws it holds some two moulds, so all scenes together show each look only some dozens of times,
and a network learns those by heart. Here a vessel has up to three, small ones, young ones and hard looks more often,
half of them of a new look: form, colours and finish of three of the maker's looks, some in any colour. Twice as much of
what is harmless is put beside them. They are rendered with everything else, so nothing shows that they were added.
Scenes whose number ends in 00, 30, 60 or 90 stay as their maker draws them: they are kept to judge.
"""

import argparse
import importlib
import multiprocessing
import os
import traceback
from collections.abc import Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager, nullcontext
from functools import partial
from typing import Any, Protocol
from unittest import mock

import numpy as np

from training.segmenter.noise import Rng

#: How often a vessel has none, one, two and three moulds.
_MOULDS = (0.25, 0.25, 0.3, 0.2)
#: How often a look is new, and how often a new one has any colour instead of one of the maker's.
_NEW, _ANY_COLOUR = 0.5, 0.4
#: What of a look says its form, and its colours; the rest is its finish.
_FORM, _COLOURS = ("growth",), ("young", "old", "core", "hue", "delay")
#: Forms that go with one finish only, and those of them that no plate has.
_WHOLE, _NEEDS_A_WALL = ("liquid", "seep", "sector"), ("liquid", "seep")
#: Forms that a segmenter misses most, which are chosen twice as often as others; so are wisps.
_HARD = ("many", "spots", "seep")
#: Hours at which a mould begins, mm it grows a day, how often it stays small, and the largest radius of those, mm.
_BEGINS, _BEGINS_ON_PLATE, _MM_PER_DAY, _SMALL, _SMALL_MM = (10.0, 180.0), (8.0, 90.0), (1.5, 8.0), 0.6, (4.0, 24.0)

Look = dict[str, Any]


class _Vessel(Protocol):
    """A vessel of the maker. W, H: size of its surface, mm; ppm: pixels a mm."""

    W: float
    H: float
    ppm: float


def new_look(rng: Rng, looks: Mapping[str, Look]) -> Look:
    """A look of the form, the colours and the finish of three others; sRGB 0-255 as theirs."""
    of_parts = [look for look in looks.values() if look.get("growth") not in _WHOLE]
    form, colours, finish = (of_parts[int(number)] for number in rng.integers(len(of_parts), size=3))
    rest = {key: value for key, value in finish.items() if key not in _FORM + _COLOURS}
    look = {**_of(form, _FORM), **_of(colours, _COLOURS), **rest}
    if rng.random() < _ANY_COLOUR:
        old = rng.uniform(20, 235, 3)
        look.update(young=list(0.4 * old + 0.6 * 205), old=list(old), core=list(old * rng.uniform(0.5, 0.9)))
        look["delay"] = (float(rng.uniform(4, 12)), float(rng.uniform(12, 36)))
    return look


def _of(look: Look, keys: tuple[str, ...]) -> Look:
    return {key: look[key] for key in keys if key in look}


def render(number: int, *, maker: str, out: str, scale: float, samples: int, photos: int, variant: str) -> int:
    """Render one scene in this process; the number of its photos, 0 if it failed, which is printed."""
    os.environ["MI_VARIANT"] = variant
    try:
        scenes = importlib.import_module(f"{maker}.render")
        with nullcontext() if number % 100 in (0, 30, 60, 90) else _more_moulds_of(maker):
            return int(scenes.run(number, out, scale, samples, photos, partial(print, flush=True)))
    except Exception:
        print(f"scene {number} failed\n{traceback.format_exc()}", flush=True)
        return 0


@contextmanager
def _more_moulds_of(maker: str) -> Iterator[None]:
    """For a while the maker chooses moulds, and what is harmless, as said above."""
    draw, moulds, harmless = (importlib.import_module(f"{maker}.{name}") for name in ("draw", "moulds", "lookalikes"))
    looks, extras = dict(moulds.ZOO), harmless.draw_extras

    def choose(rng: Rng, count: int, plate: bool) -> list[list[str]]:
        left_out = (
            [name for name in looks if looks[name].get("growth") in _NEEDS_A_WALL] if plate else moulds.PLATES_ONLY
        )
        known = [name for name in looks if name not in left_out]
        known += [name for name in known if looks[name].get("growth") in _HARD or looks[name].get("wisp")]
        return [[a_name(rng, known) for _ in range(int(rng.choice(4, p=_MOULDS)))] for _ in range(count)]

    def a_name(rng: Rng, known: list[str]) -> str:
        if rng.random() >= _NEW:
            return str(rng.choice(known))
        name = f"new {len(moulds.ZOO)}"
        moulds.ZOO[name] = new_look(rng, looks)
        return name

    def put(rng: Rng, vessel: _Vessel, name: str, plate: bool = False) -> object:
        margin = 0.22 if plate else 0.08
        across, down = rng.uniform(margin, 1 - margin, 2) * (vessel.W, vessel.H)
        begins = rng.uniform(*(_BEGINS_ON_PLATE if plate else _BEGINS))
        speed = float(np.exp(rng.uniform(*np.log(_MM_PER_DAY))))
        largest = float(rng.uniform(*_SMALL_MM)) if rng.random() < _SMALL else 1e9
        return moulds.Mould(rng, vessel.W, vessel.H, vessel.ppm, name, across, down, begins, speed, largest)

    def twice(rng: Rng, vessel: _Vessel) -> list[object]:
        return [*extras(rng, vessel), *extras(rng, vessel)]

    with (
        mock.patch.dict(moulds.ZOO),
        mock.patch.object(draw, "_moulds", choose),
        mock.patch.object(moulds, "draw_mould", put),
        mock.patch.object(harmless, "draw_extras", twice),
    ):
        yield


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--maker", required=True, help="package of the maker, to be found by Python")
    parser.add_argument("--numbers", required=True, help="first and last number, for example 37001-37990")
    parser.add_argument("--out", required=True)
    parser.add_argument("--photos", type=int, default=4)
    parser.add_argument("--scale", type=float, default=0.75)
    parser.add_argument("--samples", type=int, default=12)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--variant", default="cuda_ad_rgb")
    arguments = parser.parse_args()
    first, last = (int(part) for part in arguments.numbers.split("-"))
    one = partial(
        render, maker=arguments.maker, out=arguments.out, scale=arguments.scale, samples=arguments.samples,
        photos=arguments.photos, variant=arguments.variant,
    )  # fmt: skip
    with ProcessPoolExecutor(arguments.workers, multiprocessing.get_context("spawn")) as pool:
        print(f"{sum(pool.map(one, range(first, last + 1)))} photos")


if __name__ == "__main__":
    main()
