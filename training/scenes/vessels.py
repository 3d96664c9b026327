"""Bags, jars and plates as meshes, with where their label is stuck."""

from dataclasses import dataclass

import cv2
import numpy as np

from training.scenes.meshes import Mesh, Points, grid, joined, mirrored, placing, sheet, turned, upright_disc
from training.segmenter.noise import Rng, rough_noise, smooth_noise


@dataclass(frozen=True, eq=False)
class Body:
    """One vessel about its own origin, standing on y = 0 (plates: lying at z = 0).

    surface: the substrate that a camera in front sees, uv over a bed of ``bed_mm`` (rows, columns); parts: other meshes
    by name of their material; label: (4, 3) corners from top left clockwise, None where it is not on the vessel.
    """

    surface: Mesh
    bed_mm: tuple[float, float]
    parts: tuple[tuple[str, Mesh], ...]
    sticker: Mesh | None = None
    corners: Points | None = None


def _half_section(width_mm: float, depth_mm: float, power: float, columns: int) -> tuple[Points, float]:
    """Front half of a rounded rectangle from left to right, (columns, 2) as (x, z), evenly spaced, and its length."""
    angle = np.linspace(np.pi, 0, 2000)
    x = width_mm / 2 * np.sign(np.cos(angle)) * np.abs(np.cos(angle)) ** (2 / power)
    z = depth_mm / 2 * np.sin(angle) ** (2 / power)
    length = np.concatenate([[0], np.cumsum(np.hypot(np.diff(x), np.diff(z)))])
    even = np.linspace(0, length[-1], columns)
    return np.c_[np.interp(even, length, x), np.interp(even, length, z)], float(length[-1])


def _profile(height_mm: float, depth_mm: float, top_mm: float, base_mm: float, rows: int) -> tuple[Points, float]:
    """From the middle of the top down to the base: (rows, 2) as (inset, y), evenly spaced, and its length."""
    arc = np.linspace(0, np.pi / 2, 60)
    inset = np.concatenate([[depth_mm / 2 - 1], top_mm * (1 - np.sin(arc)), base_mm * (1 - np.cos(arc))])
    y = np.concatenate([[height_mm], height_mm - top_mm * (1 - np.cos(arc)), base_mm * (1 - np.sin(arc))])
    length = np.concatenate([[0], np.cumsum(np.hypot(np.diff(inset), np.diff(y)))])
    even = np.linspace(0, length[-1], rows)
    return np.c_[np.interp(even, length, inset), np.interp(even, length, y)], float(length[-1])


def _normals(points: Points) -> Points:
    down, right = np.gradient(points, axis=0), np.gradient(points, axis=1)
    across = np.cross(down, right)
    return np.asarray(across / np.maximum(np.linalg.norm(across, axis=-1, keepdims=True), 1e-9))


def bag(
    rng: Rng, width_mm: float, height_mm: float, depth_mm: float, headspace_mm: float,
    label: tuple[float, float] | None, *, tagged: bool = False,
) -> Body:  # fmt: skip
    """A lumpy block in clear film with creased empty film above it; tagged: a second sticker low on its face."""
    rows, columns = round(height_mm / 2 + depth_mm / 3), round(width_mm / 1.5)
    section, across_mm = _half_section(width_mm, depth_mm, rng.uniform(3.0, 4.2), columns)
    profile, down_mm = _profile(height_mm, depth_mm, rng.uniform(16, 24), rng.uniform(12, 20), rows)
    inset, y = profile[:, :1], profile[:, 1:]
    slump = 1 + 0.04 * np.sin(np.pi * np.clip(1 - y / height_mm, 0, 1)) * rng.uniform(0, 1.3)
    smooth = np.stack(
        [
            section[None, :, 0] * (1 - 2 * inset / width_mm) * slump,
            np.broadcast_to(y, (rows, columns)),
            section[None, :, 1] * (1 - 2 * inset / depth_mm) * slump,
        ],
        axis=-1,
    )
    lumps = rng.uniform(2.2, 3.6) * smooth_noise(rng, (rows, columns), 50 / 2)
    fine = 0.6 * rough_noise(rng, (rows, columns), 14 / 2, 3)
    soft = smooth + _normals(smooth) * lumps[..., None]
    points = soft + _normals(smooth) * fine[..., None]
    points[..., 1] = np.maximum(points[..., 1], 0.0)
    start = int(np.argmin(np.abs(inset[:, 0] - 5.5) + (y[:, 0] < height_mm / 2) * 1e3))
    film, patch = _headspace(rng, points[start], height_mm, headspace_mm)
    parts = [("film", mirrored(film)), ("patch", patch)]
    if tagged:
        parts.append(("tag", grid(_stick(rng, soft, (down_mm, across_mm), height_mm, (34.0, 22.0), (120.0, 42.0)))))
    if label is None:
        return Body(mirrored(grid(points)), (down_mm, across_mm), tuple(parts))
    sticker = _stick(rng, soft, (down_mm, across_mm), height_mm, label)
    return Body(mirrored(grid(points)), (down_mm, across_mm), tuple(parts), grid(sticker), _rim_corners(sticker))


def _headspace(rng: Rng, ring: Points, height_mm: float, headspace_mm: float) -> tuple[Mesh, Mesh]:
    """The empty film above the block, front half, and the filter patch on it."""
    rows, columns = 60, len(ring)
    share = np.linspace(1, 0, rows)[:, None]
    eased = share**0.7
    flat = 1 - 0.9 * eased
    narrow = 1 - rng.uniform(0.04, 0.14) * share
    folds = smooth_noise(rng, (1, columns), 9) + 0.7 * smooth_noise(rng, (1, columns), 4)
    wander = 0.5 * smooth_noise(rng, (rows, columns), 14) + 0.25 * rough_noise(rng, (rows, columns), 5, 2)
    crease = 3.5 * np.sqrt(np.clip(share, 0, 1)) * (folds + wander)
    top = height_mm + headspace_mm + 2.5 * smooth_noise(rng, (1, columns), 8)
    points = np.stack(
        [
            ring[None, :, 0] * narrow + 0.3 * crease,
            ring[None, :, 1] * (1 - share) + top * share,
            np.maximum(ring[None, :, 2] * flat + crease, 1.0),
        ],
        axis=-1,
    )
    middle = points[int(rows * 0.3) : int(rows * 0.72), int(columns * 0.45) : int(columns * 0.58)].copy()
    middle[..., 2] += 1.5
    return grid(points), grid(middle)


def _stick(
    rng: Rng, soft: Points, bed_mm: tuple[float, float], height_mm: float, label: tuple[float, float],
    off_mm: tuple[float, float] = (0.0, 0.0),
) -> Points:  # fmt: skip
    """Points of a sticker laid over the soft form of a face near its top centre, (9, 13, 3); off_mm: down, right."""
    width, height = label
    front = soft[..., 1] < height_mm - 24
    first = int(np.argmax(front[:, soft.shape[1] // 2]))
    scale = (soft.shape[0] / bed_mm[0], soft.shape[1] / bed_mm[1])
    middle = (
        first + (rng.uniform(9, 16) + height / 2 + off_mm[0]) * scale[0],
        soft.shape[1] / 2 + (rng.uniform(-14, 14) + off_mm[1]) * scale[1],
    )
    tilt = np.radians(rng.uniform(-5, 5))
    down, right = np.mgrid[-height / 2 : height / 2 : 9j, -width / 2 : width / 2 : 13j]
    rows = middle[0] + (down * np.cos(tilt) + right * np.sin(tilt)) * scale[0]
    columns = middle[1] + (right * np.cos(tilt) - down * np.sin(tilt)) * scale[1]
    on = np.stack(
        [cv2.remap(np.ascontiguousarray(soft[..., k], np.float32), columns.astype(np.float32), rows.astype(np.float32),
                   cv2.INTER_LINEAR) for k in range(3)], axis=-1,
    ).astype(float)  # fmt: skip
    flat = _fitted_plane(on, down, right)
    return np.asarray(0.75 * flat + 0.25 * on + _normals(flat) * (2.2 + np.clip((on - flat)[..., 2].max(), 0, 3)))


def _fitted_plane(on: Points, down: Points, right: Points) -> Points:
    """The true-sized flat sticker nearest to where its points lie."""
    middle = on.mean(axis=(0, 1))
    across = np.tensordot(right, on - middle, axes=2)
    across /= np.linalg.norm(across)
    downwards = np.tensordot(down, on - middle, axes=2)
    downwards -= across * (downwards @ across)
    downwards /= np.linalg.norm(downwards)
    return np.asarray(middle + right[..., None] * across + down[..., None] * downwards)


def _rim_corners(points: Points) -> Points:
    return np.stack([points[0, 0], points[0, -1], points[-1, -1], points[-1, 0]])


def jar(rng: Rng, radius_mm: float, fill_mm: float, headspace_mm: float) -> Body:
    """A glass jar of grain with a metal lid; the grain lies against the glass."""
    columns, rows = 90, round(fill_mm / 2)
    angle = np.linspace(-np.pi / 2, np.pi / 2, columns)[None]
    level = 1.2 * smooth_noise(rng, (1, columns), 12)
    y = np.linspace(1, 0, rows)[:, None] * (fill_mm + level) + 5
    surface = np.stack([radius_mm * np.sin(angle) + 0 * y, y, radius_mm * np.cos(angle) + 0 * y], axis=-1)
    top = 5 + fill_mm
    wall = radius_mm + 0.4
    shoulder = top + headspace_mm
    neck = ((radius_mm - 9, shoulder + 12), (radius_mm - 8, shoulder + 4), (radius_mm - 4, shoulder - 3))
    glass = turned((*neck, (wall, shoulder - 14), (wall, top + 0.5)))
    foot = turned(((wall, 5.2), (wall, 1.5), (wall - 2, 0), (0, 0)))
    rim = radius_mm - 5
    lid_form = ((0, 22), (rim - 1, 22), (rim, 21), (rim, 4), (rim - 2, 4))
    lid = turned(tuple((radius, shoulder + y) for radius, y in lid_form))
    flat = upright_disc(radius_mm - 0.5)
    above = Mesh(flat.points[:, [0, 2, 1]] * (1, 1, -1) + (0, top - 1, 0), flat.uv, flat.faces)
    parts = (("glass", glass), ("foot", foot), ("lid", lid), ("top", above))
    return Body(mirrored(grid(surface)), (fill_mm, float(np.pi * radius_mm)), parts)


def plate(radius_mm: float, plugs_mm: tuple[tuple[float, float], ...]) -> Body:
    """A dish that faces the camera: agar, wall, foot, and the plugs of inoculum at (x, y) mm from the centre."""
    wall = ((0.0, -1.0), (0.0, 9.0), (0.6, 10.5), (1.6, 10.5), (2.2, 9.0), (2.2, -4.0), (4.0, -4.0))
    side = turned(tuple((radius_mm + thick, z) for thick, z in wall))
    standing = Mesh(side.points[:, [0, 2, 1]] * (1, -1, 1), side.uv, side.faces)
    plugs = [sheet(6, 6).placed(placing((x, y, 1.2), spin_degrees=31.0 * k + 12)) for k, (x, y) in enumerate(plugs_mm)]
    parts = (("dish", standing), *(("plug", plug) for plug in plugs))
    return Body(upright_disc(radius_mm), (2 * radius_mm, 2 * radius_mm), parts)


def bottle(height_mm: float) -> tuple[Mesh, Mesh]:
    """A spray bottle's body and its head."""
    radius_mm = height_mm * 0.19
    body = ((0, 1), (0.4, 1), (0.45, 0.8), (1, 0.62), (1, 0.01), (0, 0))
    head = ((0, 1.16), (0.5, 1.15), (0.55, 0.98), (0, 0.97))
    made = [turned(tuple((r * radius_mm, y * height_mm) for r, y in form)) for form in (body, head)]
    return made[0], made[1]


def tape(radius_mm: float, width_mm: float) -> Mesh:
    """A roll of tape lying flat."""
    inner = radius_mm * 0.72
    return joined(
        turned(((inner, width_mm), (radius_mm, width_mm), (radius_mm, 0), (inner, 0), (inner, width_mm))),
    )
