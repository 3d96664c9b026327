"""Signs other than colour on drawn class maps: each is reported, and an ordinary front gives none."""

from collections.abc import Callable

import numpy as np
import pytest

from vision.days import SeriesFace, find_signs
from vision.records import BARE, LABEL, MYCELIUM, Face, MeasuredVessel, Reading, VesselSpec

SCALE = 2.0
ROWS, COLUMNS = 460, 360
BAG = VesselSpec("B001", "bag", substrate="sawdust")
JAR = VesselSpec("J001", "jar", substrate="rye grain")
PACE_MM = 8.0
y, x = np.mgrid[:ROWS, :COLUMNS] / SCALE
Paint = Callable[[float, np.ndarray, np.ndarray], None]


def front(day: float) -> np.ndarray:
    """A wavy front that moves down at a steady rate."""
    return np.asarray(y < PACE_MM * day + 6 * np.sin(x / 9) + 3 * np.sin(x / 4 + day))


def series(change: Paint | None = None, days: tuple[float, ...] = (0, 2, 4, 6, 8, 10, 12, 14, 16)) -> list[SeriesFace]:
    made = []
    for day in days:
        classes = np.zeros((ROWS + 40, COLUMNS + 40), np.uint8)
        rgb = np.full((*classes.shape, 3), 60, np.uint8)
        inner, colours = classes[20:-20, 20:-20], rgb[20:-20, 20:-20]
        inner[:] = np.where(front(day), MYCELIUM, BARE)
        noise = np.random.default_rng(round(day)).normal(0, 6, (ROWS, COLUMNS, 1))
        colours[:] = np.clip(np.where(inner == MYCELIUM, 215, 105)[..., None] + noise, 0, 255)
        if change is not None:
            change(day, inner, colours)
        inner[60:120, 120:240] = LABEL
        face = Face(rgb, classes, classes, SCALE, np.diag([0.5, 0.5, 1.0]), True)
        reading = Reading("B001", "bag", "ok", percent=100 * float((inner == MYCELIUM).mean()))
        made.append(SeriesFace(day, face, reading, 0))
    return made


def told(faces: list[SeriesFace], spec: VesselSpec = BAG) -> dict[float, set[str]]:
    read = find_signs(faces, [MeasuredVessel(one.reading, one.face) for one in faces], spec)
    for one in read:
        assert set(one.reading.flags) == {sign.name for sign in one.reading.signs}
    return {one.days: set(seen.reading.flags) for one, seen in zip(faces, read, strict=True)}


@pytest.mark.parametrize("spec", [BAG, JAR, VesselSpec("P1", "plate", substrate="agar")])
def test_an_ordinary_front_has_no_sign(spec: VesselSpec) -> None:
    assert set().union(*told(series(), spec).values()) == set()


def test_a_part_that_the_front_leaves_out_is_reported_when_the_front_is_past_it() -> None:
    def left_out(day: float, classes: np.ndarray, colours: np.ndarray) -> None:
        del day, colours
        ragged = np.hypot((x - 120) / 1.1, y - 60) < 28 + 4 * np.sin(np.arctan2(y - 60, x - 120) * 7)
        classes[ragged] = BARE

    found = told(series(left_out))
    assert "part_stalled" in found[14]
    assert set().union(*(found[day] for day in (0, 2, 4))) == set()
    read = find_signs(series(left_out), [MeasuredVessel(one.reading, one.face) for one in series(left_out)], BAG)
    (sign,) = (one for one in read[-1].reading.signs if one.name == "part_stalled")
    # A photo pixel is a millimetre here, and the vessel begins at 10 mm.
    middle = (sign.box[0] + sign.box[2] / 2, sign.box[1] + sign.box[3] / 2)
    assert middle == pytest.approx((120 + 10, 60 + 10), abs=8)
    assert sign.area_cm2 == pytest.approx(np.pi * 28 * 28 * 1.1 / 100, rel=0.3)


@pytest.mark.parametrize("curved", [False, True])
def test_a_front_that_stops_along_a_line_straight_or_curved_is_reported(curved: bool) -> None:
    def held_off(day: float, classes: np.ndarray, colours: np.ndarray) -> None:
        del day, colours
        beyond = np.hypot(x - 90, y - 150) < 70 if curved else y > 70 + 0.2 * x
        classes[beyond] = BARE

    found = told(series(held_off))
    assert "sharp_front" in found[16]
    assert "sharp_front" not in found[4]


def test_a_resting_ragged_front_is_not_a_sharp_front() -> None:
    def rests(day: float, classes: np.ndarray, colours: np.ndarray) -> None:
        del colours
        if day > 6:
            classes[~front(6)] = BARE

    assert all("sharp_front" not in flags for flags in told(series(rests)).values())


def test_a_patch_of_grain_that_turns_dark_is_reported_but_not_one_that_always_was() -> None:
    spot = np.hypot(x - 60, y - 170) < 14

    def turns_dark(day: float, classes: np.ndarray, colours: np.ndarray) -> None:
        if day >= 4:
            colours[spot & (classes == BARE)] //= 2

    def always_dark(day: float, classes: np.ndarray, colours: np.ndarray) -> None:
        del day
        colours[spot & (classes == BARE)] //= 2

    found = told(series(turns_dark), JAR)
    assert found[4] == set()  # one photo is not enough
    assert "wet_patch" in found[6]
    assert all("wet_patch" not in flags for flags in told(series(always_dark), JAR).values())
    assert all("wet_patch" not in flags for flags in told(series(turns_dark), BAG).values())


def test_a_whole_face_in_dimmer_light_is_not_a_wet_patch() -> None:
    def dimmer(day: float, classes: np.ndarray, colours: np.ndarray) -> None:
        del classes
        if day >= 6:
            colours[:] = colours * 0.7

    assert all("wet_patch" not in flags for flags in told(series(dimmer), JAR).values())


def test_a_rotated_vessel_is_not_compared() -> None:
    def turned(day: float, classes: np.ndarray, colours: np.ndarray) -> None:
        del colours
        if day >= 8:
            classes[:] = classes[:, ::-1]
            classes[(x > 90) & (y > 20)] = BARE

    assert told(series(turned))[8] == set()
