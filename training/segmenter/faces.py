"""Whole drawn faces with exact truth, for training and for tests of the segmenter."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from training.segmenter.camera import correct_by_label, guess_light, label_light, photograph, random_camera
from training.segmenter.growths import MOULD_COLOURS, Mould, mould, mycelium
from training.segmenter.light import film, shading
from training.segmenter.noise import Field, Rng, smooth_noise
from training.segmenter.substrates import PX_PER_MM, Surface, agar, coir, grain, mixture, sawdust, straw

#: Window of the definition of a colonised point, mm.
WINDOW_MM = 3.0
#: Thin mycelium is greyer than dense: what hides a share h of the substrate lightens it by a power of h. The power is
#: such that the border of what counts as colonised lies this far on the way from bare to dense; mean and spread. In
#: scenes with known truth it lies at 0.37 to 0.41. Fine strands cannot be made so grey: what is between bare and dense
#: only by mixture lies half way.
BORDER_AT = (0.40, 0.05)
_POWERS = np.array([1.0, 1.2, 1.4, 1.7, 2.0, 2.5, 3.0, 3.5])
#: Added light, in shares of white, above which a point counts as veiled.
VEILED_LIGHT = 0.2


@dataclass(frozen=True, eq=False)
class DrawnFace:
    """A drawn face as the segmenter would be given it, with its truth.

    linear_rgb: float32 (H, W, 3); bare_rgb: the same vessel before growth, in other light, or None;
    inside, colonised, contaminated, coloured, veiled: bool (H, W).
    """

    kind: str
    linear_rgb: Field
    bare_rgb: Field | None
    referenced: bool
    inside: NDArray[np.bool_]
    colonised: NDArray[np.bool_]
    contaminated: NDArray[np.bool_]
    coloured: NDArray[np.bool_]
    veiled: NDArray[np.bool_]

    @property
    def percent(self) -> float:
        """True colonised percent of the visible face."""
        return 100 * float(self.colonised[self.inside].mean())


def draw_face(rng: Rng) -> DrawnFace:
    """Draw one face: any vessel, substrate, stage of growth, light and camera."""
    kind = str(rng.choice(["bag", "jar", "plate"], p=[0.5, 0.25, 0.25]))
    shape = _shape(rng, kind)
    surface = _substrate(rng, kind, shape)
    growth = mycelium(rng, surface, _stage(rng), plate=kind == "plate")
    moulds = [mould(rng, shape, str(rng.choice(list(MOULD_COLOURS)))) for _ in range(_mould_count(rng))]
    bare = _with_plug(rng, surface.albedo, kind)
    state = rng.bit_generator.state
    shown = growth.opacity[..., None] ** np.float32(_thinness(growth.opacity, rng.normal(*BORDER_AT)))
    scene_albedo = bare * (1 - shown) + growth.albedo * shown
    hidden = growth.opacity
    for patch in moulds:
        scene_albedo = scene_albedo * (1 - patch.opacity[..., None]) + patch.albedo * patch.opacity[..., None]
    rng.bit_generator.state = state
    if kind == "plate" and rng.random() < 0.8:
        scene_albedo = _plug(rng, scene_albedo)
    tape = np.zeros(shape, np.bool_)
    if rng.random() < 0.15:
        tape = _tape(rng, scene_albedo)
    contaminated = _any(moulds, lambda m: m.opacity > 0.5, shape) & ~tape
    colonised = (_window_mean(hidden) >= 0.5) & ~contaminated & ~tape
    inside = _outline(rng, shape, kind)
    label = label_light(rng) if rng.random() < 0.75 else None
    picture, veiled = _picture(rng, scene_albedo, surface, hidden, kind, label)
    bare_rgb = None
    if rng.random() < 0.65:
        bare_rgb, _ = _picture(rng, bare, surface, np.zeros(shape, np.float32), kind, label)
    coloured = _any(moulds, lambda m: (m.coloured > 0.5) & (m.opacity > 0.5), shape) & ~tape
    return DrawnFace(kind, picture, bare_rgb, label is not None, inside, colonised, contaminated, coloured, veiled)


def _thinness(opacity: Field, border_at: float) -> float:
    """The power that puts the border of what counts as colonised nearest to ``border_at`` (0-1)."""
    share = _window_mean(opacity)
    border = opacity[np.abs(share - 0.5) < 0.06][:20000]
    if border.size < 50:
        return 1.4
    levels = [float(np.mean(border**power)) for power in _POWERS]
    return float(np.interp(-border_at, -np.array(levels), _POWERS))


def _shape(rng: Rng, kind: str) -> tuple[int, int]:
    if kind == "plate":
        side = round((90 if rng.random() < 0.7 else rng.uniform(55, 140)) * PX_PER_MM)
        return side, side
    width_mm, height_mm = (
        (rng.uniform(60, 110), rng.uniform(80, 150)) if kind == "jar" else (rng.uniform(90, 200), rng.uniform(110, 240))
    )
    return round(height_mm * PX_PER_MM), round(width_mm * PX_PER_MM)


def _substrate(rng: Rng, kind: str, shape: tuple[int, int]) -> Surface:
    if kind == "plate":
        return agar(rng, shape)
    shares = {"jar": (0.1, 0.05, 0.6, 0.1, 0.15), "bag": (0.35, 0.25, 0.12, 0.13, 0.15)}[kind]
    draw = (sawdust, straw, grain, coir, mixture)[int(rng.choice(5, p=shares))]
    return draw(rng, shape)


def _stage(rng: Rng) -> float:
    """Wanted share: none, a trace, anything between, nearly all, and long since all."""
    pick = rng.random()
    if pick < 0.18:
        return 0.0
    if pick < 0.28:
        return rng.uniform(0.002, 0.05)
    if pick < 0.75:
        return rng.uniform(0.05, 0.95)
    return rng.uniform(0.95, 1.0) if pick < 0.87 else 1.5


def _mould_count(rng: Rng) -> int:
    return int(rng.choice(3, p=[0.6, 0.32, 0.08]))


def _with_plug(rng: Rng, albedo: Field, kind: str) -> Field:
    return _plug(rng, albedo) if kind == "plate" and rng.random() < 0.8 else albedo


def _plug(rng: Rng, albedo: Field) -> Field:
    """A square of agar with its inoculum: pale, edged with shadow, whatever has grown around it."""
    out = albedo.copy()
    side = rng.uniform(4, 10) * PX_PER_MM
    middle = (albedo.shape[1] / 2 + rng.normal(0, 12), albedo.shape[0] / 2 + rng.normal(0, 12))
    corners = cv2.boxPoints((middle, (side, side), rng.uniform(0, 90))).astype(np.int32)
    level = rng.uniform(0.25, 0.8)
    colour = level * np.array([1, rng.uniform(0.88, 1), rng.uniform(0.6, 0.95)])
    cv2.fillConvexPoly(out, corners, colour.tolist())
    cv2.polylines(out, [corners], True, (colour * rng.uniform(0.2, 0.7)).tolist(), 2)
    return out


def _tape(rng: Rng, albedo: Field) -> NDArray[np.bool_]:
    """Stick a strip or tag of any even colour on the face, in place; say where. It is neither growth nor mould."""
    height, width = albedo.shape[:2]
    size = (rng.uniform(8, 60) * PX_PER_MM, rng.uniform(6, 25) * PX_PER_MM)
    corners = cv2.boxPoints(((rng.uniform(0, width), rng.uniform(0, height)), size, rng.uniform(-25, 25))).astype(
        np.int32
    )
    where = np.zeros((height, width), np.uint8)
    cv2.fillConvexPoly(where, corners, 1)
    albedo[where > 0] = rng.uniform(0.02, 0.85, 3) ** 1.5
    return where > 0


def _any(moulds: list[Mould], test, shape: tuple[int, int]) -> NDArray[np.bool_]:  # noqa: ANN001
    out = np.zeros(shape, np.bool_)
    for patch in moulds:
        out |= test(patch)
    return out


def _window_mean(opacity: Field) -> Field:
    side = round(WINDOW_MM * PX_PER_MM) | 1
    return np.asarray(cv2.blur(opacity, (side, side), borderType=cv2.BORDER_REFLECT), np.float32)


def _outline(rng: Rng, shape: tuple[int, int], kind: str) -> NDArray[np.bool_]:
    """What of the frame is substrate: a disc or a rounded block, less a label and things that stand before it."""
    out = np.zeros(shape, np.uint8)
    height, width = shape
    if kind == "plate":
        cv2.circle(out, (width // 2, height // 2), round(width * rng.uniform(0.47, 0.5)), 1, -1)
        return out > 0
    wave = smooth_noise(rng, (height, 1), 60) * rng.uniform(0, 6)
    columns = np.arange(width)[None]
    margin = rng.uniform(0, 12)
    out[:] = (columns > margin + wave) & (columns < width - margin + wave)
    radius = rng.uniform(0, 25)
    top = (
        margin
        + radius * (2 * np.abs(np.arange(width) / width - 0.5)) ** 6
        + rng.uniform(0, 3) * smooth_noise(rng, (1, width), 20)[0]
    )
    out &= np.arange(height)[:, None] > top[None]
    if kind == "bag" and rng.random() < 0.7:
        left, upper = int(rng.uniform(0.1, 0.6) * width), int(rng.uniform(0.02, 0.3) * height)
        out[upper : upper + round(40 * PX_PER_MM), left : left + round(60 * PX_PER_MM)] = 0
    if rng.random() < 0.1:
        cut = int(rng.uniform(0.6, 0.95) * width)
        out[:, cut:] = 0
    return out > 0


def _picture(
    rng: Rng, albedo: Field, surface: Surface, opacity: Field, kind: str, label: float | None
) -> tuple[Field, NDArray[np.bool_]]:
    shape = albedo.shape[:2]
    light = shading(rng, surface.height, opacity, rounded=kind != "plate")
    veil = film(rng, shape, kind)
    lit = albedo * light[..., None]
    if veil.softened.max() > 0:
        soft = cv2.GaussianBlur(lit, (0, 0), veil.soft_px * PX_PER_MM / 3)
        lit = lit + (soft - lit) * veil.softened[..., None]
    scene = lit * veil.through[..., None] + veil.added
    camera = random_camera(rng, plate=kind == "plate")
    picture = photograph(rng, camera, scene)
    linear = guess_light(picture) if label is None else correct_by_label(rng, camera, picture, label)
    return linear, veil.added.mean(axis=2) > VEILED_LIGHT
