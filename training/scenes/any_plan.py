"""Scenes by number, drawn at random and wider than any shelf: for training. The named scenes are there to judge."""

import numpy as np

from training.scenes.any_mould import any_harmless, any_mould
from training.scenes.growth import MOULD_COLOURS, Culture
from training.scenes.moulds import Mould
from training.scenes.recipes import Rgb, ScenePlan, VesselPlan
from training.segmenter.noise import Rng

#: Photos of each vessel: one before any growth, then so many between these hours, from first colonies to long through.
_LATER_HOURS = (55.0, 320.0)
_LATER_PHOTOS = 3
#: A front thins out over so many mm, between these ends.
_RAMP_MM = (2.0, 9.0)
#: Scenes from this number on have more moulds, of many looks, and harmless things that look like them.
MORE_MOULDS_FROM = 20_000
_HOW_MANY = (0.25, 0.25, 0.3, 0.2)
_SCALES = {"bag": 1.75, "jar": 2.1, "plate": 2.6}


def any_plan(number: int) -> ScenePlan:
    """Scene ``number`` of the endless repeatable row: one to four vessels of one kind, each with a bed of its own."""
    rng = np.random.default_rng([20261126, number])
    kind = ("bag", "jar", "plate")[int(rng.choice(3, p=(0.55, 0.25, 0.2)))]
    labelled = kind != "bag" or rng.random() < 0.75
    count = {"bag": 1, "jar": 2, "plate": 4}[kind]  # the renderer's time grows faster than the number of bags
    vessels = tuple(_vessel(rng, kind, number, place) for place in range(count))
    widest = max(v.size_mm[0] for v in vessels) * (2 if kind == "jar" else 1)
    pitch = (widest + {"bag": 35, "jar": 55, "plate": 50}[kind], 172.0 if kind == "plate" else 400.0)
    px_per_mm = _SCALES[kind] * float(np.exp(rng.normal(0, 0.12)))
    across = count if kind != "plate" else 2
    tall = {"bag": 390.0, "jar": 260.0, "plate": 380.0}[kind]
    size = (round((pitch[0] * across + (80 if labelled else 160)) * px_per_mm), round(tall * px_per_mm))
    earliest, latest = np.log(_LATER_HOURS)
    later = np.sort(np.exp(rng.uniform(float(earliest), float(latest), _LATER_PHOTOS)))
    light, cast = _lamp(rng), _lamp(rng) ** 0.4
    strip, room, ambient = (
        _rgb(light * np.exp(rng.normal(0, 0.05, 3)) * level)
        for level in (rng.uniform(15, 70), rng.uniform(8, 26), rng.uniform(0.12, 0.45))
    )
    hours = (12.0, *(float(round(hour)) for hour in later))
    stops = tuple(float(stop) for stop in rng.normal(0, 0.45, 1 + _LATER_PHOTOS))
    return ScenePlan(
        f"T{number}", kind, 9000 + number, vessels, hours, size, px_per_mm,  # type: ignore[arg-type]
        strip, room, ambient, stops, a_tier=across, pitch_mm=pitch,
        label_size="small" if kind == "plate" else "normal" if labelled else "none",
        wall=_rgb(rng.uniform(0.2, 0.7) * _lamp(rng) ** 0.3), board=_rgb(rng.uniform(0.1, 0.7) * _lamp(rng)),
        aside_degrees=float(rng.normal(0, 14)) if kind != "plate" else 0.0, wander_mm=25.0 if labelled else 90.0,
        cast=_rgb(cast / cast[1]), tint=_rgb(rng.uniform(3, 34, 3)) if rng.random() < 0.3 else None, followed=False,
    )  # fmt: skip


def _lamp(rng: Rng) -> np.ndarray:
    """A lamp's colour, warm to cool, green 1 (3,)."""
    warmth = rng.normal(0, 0.25)
    return np.exp(np.array([warmth, 0.0, -warmth]) + rng.normal(0, 0.03, 3))


def _rgb(values: np.ndarray) -> Rgb:
    red, green, blue = (float(v) for v in values)
    return red, green, blue


def _vessel(rng: Rng, kind: str, number: int, place: int) -> VesselPlan:
    size = {
        "bag": (rng.uniform(130, 200), rng.uniform(160, 240)),
        "jar": (rng.uniform(37, 48), rng.uniform(95, 125)),
        "plate": (86.0, 86.0),
    }[kind]
    culture = _culture(rng, kind)
    harmless: tuple[Mould, ...] = ()
    if number >= MORE_MOULDS_FROM:
        moulds = tuple(any_mould(rng, on_plate=kind == "plate") for _ in range(int(rng.choice(4, p=_HOW_MANY))))
        harmless = tuple(any_harmless(rng) for _ in range(int(rng.choice(3, p=(0.55, 0.3, 0.15)))))
    else:
        moulds = tuple(_mould(rng) for _ in range(int(rng.choice(3, p=(0.6, 0.33, 0.07)))))
    tag = _rgb(rng.uniform(0.02, 0.8, 3)) if kind == "bag" and rng.random() < 0.2 else None
    bed = f"any {'agar' if kind == 'plate' else 'heap'} {number * 10 + place}"
    return VesselPlan(
        f"T{number}-{place}", bed, culture, -float(rng.uniform(0, 12)), moulds, size_mm=size,
        tan=float(rng.uniform(0.2, 1)) if rng.random() < 0.3 else 0.0, tag=tag,
        drops=float(rng.uniform(0.4, 1.2)) if kind == "bag" and rng.random() < 0.3 else 0.0,
        harmless=harmless,
    )  # fmt: skip


def _culture(rng: Rng, kind: str) -> Culture:
    style = ("cottony", "ropey", "thin")[int(rng.choice(3, p=(0.5, 0.3, 0.2)))]
    speed = float(rng.uniform(2.4, 6.0))
    start = "points"
    points = int(rng.integers(12, 50) if kind == "bag" else rng.integers(8, 30))
    if kind == "plate":
        start, points = ("plug" if rng.random() < 0.8 else "two plugs"), 1
    elif rng.random() < 0.15:
        start, points, speed = "top", 0, float(rng.uniform(7, 15))
    ramp_mm = float(np.exp(rng.uniform(*np.log(_RAMP_MM))))
    lag = float(rng.uniform(18, 48))
    border = float(np.clip(rng.normal(1.36, 0.12), 1.1, 1.7))
    stalled = float(rng.uniform(120, 260)) if rng.random() < 0.12 else None
    return Culture(
        style, speed, lag, ramp_mm / speed * 24, points, start, float(rng.uniform(0.2, 0.45)), stalled,  # type: ignore[arg-type]
        thin_is_grey=border, white=_white(rng),
    )  # fmt: skip


def _white(rng: Rng) -> Rgb:
    level = rng.uniform(0.55, 0.88)
    return _rgb(level * np.array([1.0, rng.uniform(0.93, 1.01), rng.uniform(0.78, 1.0)]))


def _mould(rng: Rng) -> Mould:
    colour = str(rng.choice(list(MOULD_COLOURS)))
    row, column = rng.uniform(0.1, 0.9, 2)
    since, mm_per_day, pale_hours = rng.uniform(30, 260), rng.uniform(2, 6.5), rng.uniform(10, 50)
    return Mould(colour, float(since), float(mm_per_day), (float(row), float(column)), float(pale_hours))
