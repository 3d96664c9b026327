"""Moulds of any look, and harmless things that look like them, drawn at random for training."""

import colorsys

import numpy as np

from training.scenes.moulds import NEVER, Finish, Form, Mould, MouldLook, Rgb
from training.segmenter.noise import Rng

#: Linear RGB about which the colours of a word lie.
COLOURS: dict[str, Rgb] = {
    "green": (0.12, 0.26, 0.08), "blue-green": (0.10, 0.26, 0.21), "olive": (0.16, 0.155, 0.05),
    "black": (0.02, 0.019, 0.018), "grey": (0.22, 0.22, 0.21), "brown": (0.22, 0.115, 0.05),
    "pink": (0.62, 0.31, 0.29), "orange": (0.72, 0.27, 0.06), "red": (0.38, 0.06, 0.05),
    "yellow": (0.66, 0.48, 0.08), "white": (0.76, 0.75, 0.72),
}  # fmt: skip
_COMMON = (0.2, 0.11, 0.08, 0.1, 0.09, 0.07, 0.09, 0.09, 0.05, 0.08, 0.04)
_ANY_COLOUR = 0.2
_CONTRAST: dict[Finish, tuple[float, float]] = {
    "powder": (0.12, 0.5), "velvet": (0.03, 0.15), "wispy": (0.4, 0.9), "pin heads": (0.1, 0.3), "rings": (0.3, 0.85),
    "slick": (0.03, 0.15), "wet": (0.3, 0.85),
}  # fmt: skip
_FORMS: tuple[Form, ...] = ("one", "cluster", "scattered", "satellites", "sector")
#: How often.
_FINISHES: dict[Finish, float] = {
    "powder": 0.3, "velvet": 0.17, "wispy": 0.1, "pin heads": 0.12, "rings": 0.1, "slick": 0.1, "wet": 0.11,
}  # fmt: skip
_HARMLESS = ("brown skin", "amber drops", "blue bruise", "yellow tinge", "pins")


def any_mould(rng: Rng, *, on_plate: bool) -> Mould:
    """A mould of any form, finish, colour, size and time; most stay small."""
    finish: Finish = list(_FINISHES)[int(rng.choice(len(_FINISHES), p=list(_FINISHES.values())))]
    if on_plate and finish == "wet":
        finish = "slick"
    form: Form = "patch" if finish == "wet" else _FORMS[int(rng.choice(5, p=(0.34, 0.2, 0.17, 0.19, 0.1)))]
    if form == "scattered" and finish in ("wispy", "pin heads"):  # too small for threads or heads
        form = "cluster"
    if finish == "slick" and rng.random() < 0.4:
        form = "patch"
    largest = _between(rng, 4, 25) if rng.random() < 0.65 else _between(rng, 25, 80)
    if form in ("sector", "scattered") or finish == "wet":
        largest = _between(rng, 12, 60)
    word, tone = _wet_colour(rng) if finish == "wet" else any_colour(rng)
    if finish == "wispy":  # threads of grey or white, seldom of a colour
        tone = _near(rng, COLOURS["grey" if rng.random() < 0.65 else "white"], 0.3) if rng.random() < 0.75 else tone
        word = nearest_word(tone)
    pale = np.array((0.70, 0.70, 0.66)) * rng.uniform(0.75, 1.1)
    toward = rng.uniform(0, 0.35) if rng.random() < 0.6 else 0.0
    pale = pale * (1 - toward) + np.array(tone) * toward
    heart = None if rng.random() < 0.6 else _rgb(np.array(tone) * _between(rng, 0.35, 1.4))
    early = on_plate or rng.random() < 0.25
    delay = rng.uniform(2, 12) if finish in ("wet", "slick") else rng.uniform(8, 60)
    cover = _cover(rng, finish)
    if word == "white":  # it never takes on a colour; a large one could not be told from mycelium
        delay, heart, cover, largest = NEVER, None, max(cover, 0.4), min(largest, _between(rng, 4, 15))
    margin = 0.0
    if form in ("one", "sector") and finish != "wet" and rng.random() < 0.45:
        margin = min(_between(rng, 0.5, 6), 0.6 * largest)
    look = MouldLook(
        int(rng.integers(2**31)), form, finish, tone, pale=tone if finish in ("wet", "slick") else _rgb(pale),
        heart=heart, largest_mm=largest, margin_mm=margin, cover=cover,
        contrast=float(rng.uniform(*_CONTRAST[finish])), rough=float(rng.uniform(0.04, 0.26)),
        soft_mm=_softness(rng, form), rise_mm=_rise(rng, finish), holds_back=rng.random() < 0.7,
    )  # fmt: skip
    row, column = 0.5 + rng.uniform(-0.38, 0.38, 2) if on_plate else rng.uniform(0.03, 0.97, 2)
    first = _between(rng, 10, 90 if early else 200)
    return Mould(word, first, _between(rng, 1.5, 8), (float(row), float(column)), float(delay), look)


def _cover(rng: Rng, finish: Finish) -> float:
    low, high = {"slick": (0.5, 0.9), "wispy": (0.55, 0.95), "wet": (0.7, 1.0)}.get(finish, (0.85, 1.0))
    if finish == "pin heads":
        low, high = (0.0, 0.0) if rng.random() < 0.35 else (0.3, 0.7)
    return float(rng.uniform(low, high))


def _softness(rng: Rng, form: Form) -> float:
    return float(rng.uniform(1.5, 6) if form == "patch" else rng.uniform(0.3, 0.9))


def _rise(rng: Rng, finish: Finish) -> float:
    return float(rng.uniform(0.05, 0.2) if finish == "slick" else rng.uniform(0.3, 1.6))


def any_colour(rng: Rng) -> tuple[str, Rgb]:
    """A word and a linear RGB near those of known moulds, or any colour with the word nearest to it."""
    if rng.random() < _ANY_COLOUR:
        level = _between(rng, 0.04, 0.7)
        tone = _rgb(level * np.array(colorsys.hsv_to_rgb(rng.random(), rng.uniform(0.15, 0.9), 1.0)))
        return nearest_word(tone), tone
    word = list(COLOURS)[int(rng.choice(len(COLOURS), p=_COMMON))]
    return word, _near(rng, COLOURS[word], 0.3)


def nearest_word(tone: Rgb) -> str:
    """The word whose colour is nearest, by the cube roots of linear RGB."""
    return min(COLOURS, key=lambda word: float(np.linalg.norm(np.cbrt(tone) - np.cbrt(COLOURS[word]))))


def _wet_colour(rng: Rng) -> tuple[str, Rgb]:
    """What soaked substrate takes on: brown, seldom yellowish; the ground is multiplied by it."""
    if rng.random() < 0.35:
        return "yellow", _near(rng, (0.50, 0.36, 0.10), 0.2)
    return "brown", _near(rng, (0.16, 0.12, 0.085), 0.2)


def any_harmless(rng: Rng) -> Mould:
    """Something of healthy mycelium that looks like a mould and is none."""
    word = str(rng.choice(_HARMLESS))
    form: Form = "scattered" if word in ("amber drops", "pins") else "patch"
    finish, tone, cover, contrast = {
        "brown skin": ("velvet", (0.34, 0.20, 0.09), rng.uniform(0.5, 0.9), 0.25),
        "amber drops": ("slick", (0.50, 0.24, 0.05), rng.uniform(0.5, 0.85), 0.0),
        "blue bruise": ("wet", (0.30, 0.42, 0.50), rng.uniform(0.25, 0.6), 0.15),
        "yellow tinge": ("wet", (0.62, 0.55, 0.32), rng.uniform(0.3, 0.8), 0.05),
        "pins": ("velvet", (0.45, 0.34, 0.24), 0.95, 0.1),
    }[word]
    largest = 22 if word == "blue bruise" else 45
    shade = _near(rng, tone, 0.15)
    pale = (0.78, 0.76, 0.70) if word == "pins" else shade
    look = MouldLook(
        int(rng.integers(2**31)), form, finish, shade, pale=pale, largest_mm=_between(rng, 8, largest),  # type: ignore[arg-type]
        margin_mm=0.4 if word == "pins" else 0.0, cover=float(cover), contrast=contrast, rough=0.2,
        soft_mm=_softness(rng, form),
        rise_mm=2.0 if word == "pins" else 0.4, is_harmless=True,
    )  # fmt: skip
    row, column = rng.uniform(0.05, 0.95, 2)
    first = rng.uniform(70, 240)
    return Mould(word, float(first), _between(rng, 3, 15), (float(row), float(column)), 8.0, look)


def _near(rng: Rng, tone: Rgb, spread: float) -> Rgb:
    """A colour about another, by its level and by each of its channels."""
    return _rgb(np.array(tone) * np.exp(rng.normal(0, spread) + rng.normal(0, 0.5 * spread, 3)))


def _between(rng: Rng, low: float, high: float) -> float:
    """A number whose logarithm is even between those of the ends."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _rgb(values: np.ndarray) -> Rgb:
    red, green, blue = (float(v) for v in np.clip(values, 0.008, 0.85))
    return red, green, blue
