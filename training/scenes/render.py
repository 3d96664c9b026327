"""From parts to light and truth, by Mitsuba 3: a path-traced picture, and what each pixel sees first."""

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import mitsuba
import numpy as np
from numpy.typing import NDArray

from training.scenes.meshes import Mesh, Points, sheet, write_ply
from training.scenes.phone import calm, smooth_grain
from training.segmenter.noise import Field

Material = dict[str, Any]
#: Part of a picture: left, top, width, height, px.
Window = tuple[int, int, int, int]
#: Light goes from a lamp to the camera by at most this many straight lines.
_DEPTH = 4
#: What is not a vessel gets this much fewer light paths; it is smoothed more.
_FAR = 4


@dataclass(frozen=True, eq=False)
class Part:
    """A mesh in the world. name: unique; letters, digits and underscores; opacity: of a clear part, by its uv (H, W),
    what its film or glass adds to or takes from what stands behind it, None where nothing shines through.
    """

    name: str
    mesh: Mesh
    material: Material
    opacity: Field | None = None


@dataclass(frozen=True, eq=False)
class Lamp:
    """A glowing rectangle. corners by (4, 4) placing of a sheet that shines along its +z."""

    size_mm: tuple[float, float]
    placing: Points
    radiance: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Sight:
    """What each pixel sees first. part: number of the part, -1 for none (H, W); uv: (H, W, 2); parts from
    ``first_vessel`` on belong to vessels.
    """

    part: NDArray[np.int32]
    uv: Field
    first_vessel: int


@dataclass(frozen=True, eq=False)
class View:
    """A camera without distortion. rotation: rows are the camera's right, up and backward in the world."""

    origin: Points
    rotation: Points
    focal_px: float
    width: int
    height: int

    def project(self, points: Points) -> Points:
        """World points (N, 3) to (N, 2) pixels, (column, row)."""
        right, up, back = ((points - self.origin) @ self.rotation.T).T
        return np.c_[self.width / 2 - self.focal_px * right / back, self.height / 2 + self.focal_px * up / back]

    def distance(self, point: Points) -> float:
        """Depth of a point along the view, mm."""
        return float((self.origin - point) @ self.rotation[2])


def look(
    origin: tuple[float, float, float], target: tuple[float, float, float], roll_degrees: float, focal_px: float,
    size: tuple[int, int],
) -> View:  # fmt: skip
    """A view from ``origin`` to ``target``; size: (width, height) px."""
    back = np.subtract(origin, target).astype(float)
    back /= np.linalg.norm(back)
    right = np.cross((0.0, 1.0, 0.0), back)
    right /= np.linalg.norm(right)
    up = np.cross(back, right)
    cosine, sine = np.cos(np.radians(roll_degrees)), np.sin(np.radians(roll_degrees))
    rotation = np.stack([cosine * right + sine * up, cosine * up - sine * right, back])
    return View(np.array(origin, float), rotation, focal_px, *size)


def texture(image: Field) -> Material:
    """A texture of linear values (H, W) or (H, W, 3)."""
    pixels = image[..., None] if image.ndim == 2 else image
    bitmap = mitsuba.Bitmap(np.ascontiguousarray(pixels, dtype=np.float32))
    return {"type": "bitmap", "bitmap": bitmap, "raw": True, "wrap_mode": "mirror"}


def colour(rgb: tuple[float, float, float]) -> Material:
    """One reflectance."""
    return {"type": "rgb", "value": list(rgb)}


def matt(reflectance: Material, relief_mm: Field | None = None) -> Material:
    """A matt surface, seen from either side, bumped by a relief."""
    plain: Material = {"type": "diffuse", "reflectance": reflectance}
    if relief_mm is not None:
        plain = {"type": "bumpmap", "relief": texture(relief_mm), "scale": 1.0, "bsdf": plain}
    return {"type": "twosided", "bsdf": plain}


def gloss(rgb: tuple[float, float, float], roughness: float = 0.15, index: float = 1.49) -> Material:
    """Coloured plastic."""
    plain = {"type": "roughplastic", "diffuse_reflectance": colour(rgb), "alpha": roughness, "distribution": "ggx",
             "int_ior": index}  # fmt: skip
    return {"type": "twosided", "bsdf": plain}


def metal(level: float, roughness: float) -> Material:
    """Brushed metal."""
    plain = {"type": "roughconductor", "specular_reflectance": colour((level,) * 3), "alpha": roughness}
    return {"type": "twosided", "bsdf": plain}


def under_film(albedo: Field, relief_mm: Field, film_mm: Field, roughness: float, share: float = 0.25) -> Material:
    """A matt surface with relief under a glossy film whose creases have a height of their own.

    share: of light that meets the film's mirror, whose Fresnel reflection (index 3.5, 31 %) times share is that of two
    faces of thin film, about 8 % at square incidence.
    """
    mirror = {
        "type": "roughplastic", "diffuse_reflectance": colour((0.0, 0.0, 0.0)), "int_ior": 3.5, "ext_ior": 1.0,
        "alpha": roughness, "distribution": "ggx",
    }  # fmt: skip
    below = {"type": "bumpmap", "relief": texture(relief_mm), "scale": 1.0,
             "bsdf": {"type": "diffuse", "reflectance": texture(albedo)}}  # fmt: skip
    above = {"type": "bumpmap", "relief": texture(film_mm), "scale": 1.0, "bsdf": mirror}
    return {"type": "twosided", "bsdf": {"type": "blendbsdf", "weight": share, "below": below, "above": above}}


def skin(level: float, roughness: float) -> Material:
    """The outer face of clear film or glass, where it is not clear."""
    return gloss((level,) * 3, roughness, index=2.0)


def _sensor(view: View, samples: int, seed: int, window: Window | None = None) -> Material:
    left, top, width, height = window or (0, 0, view.width, view.height)
    frame = np.eye(4)
    frame[:3, :3] = np.stack([-view.rotation[0], view.rotation[1], -view.rotation[2]], axis=1)
    frame[:3, 3] = view.origin
    return {
        "type": "perspective", "fov_axis": "x", "fov": float(2 * np.degrees(np.arctan(view.width / 2 / view.focal_px))),
        "near_clip": 10.0, "far_clip": 20000.0, "to_world": mitsuba.ScalarTransform4f(frame),
        "film": {"type": "hdrfilm", "width": view.width, "height": view.height, "pixel_format": "rgb",
                 "rfilter": {"type": "box"}, "crop_offset_x": left, "crop_offset_y": top, "crop_width": width,
                 "crop_height": height},
        "sampler": {"type": "independent", "sample_count": samples, "seed": seed},
    }  # fmt: skip


def _load(sensors: list[Material], parts: list[Part], lamps: list[Lamp], ambient: tuple[float, float, float],
          integrator: Material, folder: Path) -> mitsuba.Scene:  # fmt: skip
    scene: Material = {"type": "scene", "integrator": integrator}
    scene |= {f"sensor{number}": sensor for number, sensor in enumerate(sensors)}
    for part in parts:
        path = folder / f"{part.name}.ply"
        write_ply(part.mesh, path)
        scene[part.name] = {"type": "ply", "filename": str(path), "bsdf": part.material}
    for number, lamp in enumerate(lamps):
        path = folder / f"lamp{number}.ply"
        write_ply(sheet(*lamp.size_mm).placed(lamp.placing), path)
        scene[f"lamp{number}"] = {
            "type": "ply", "filename": str(path), "face_normals": True, "bsdf": {"type": "diffuse"},
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": list(lamp.radiance)}},
        }  # fmt: skip
    scene["sky"] = {"type": "constant", "radiance": {"type": "rgb", "value": list(ambient)}}
    return mitsuba.load_dict(scene, parallel=False, optimize=False)


def render_light(
    view: View, parts: list[Part], lamps: list[Lamp], ambient: tuple[float, float, float], sight: Sight, samples: int,
    seed: int,
) -> Field:  # fmt: skip
    """Linear light of the picture, (H, W, 3); clear parts are laid over what is seen without them."""
    integrator = {"type": "path", "max_depth": _DEPTH, "rr_depth": 9}
    solid = [part for part in parts if part.opacity is None]
    near = [_window(np.isin(sight.part, numbers)) for numbers in _by_vessel(parts, sight)]
    with tempfile.TemporaryDirectory() as folder:
        with_albedo = {"type": "aov", "aovs": "albedo:albedo", "light": integrator}
        few = max(2, samples // _FAR)
        sensors = [_sensor(view, few, seed), *(_sensor(view, samples, seed, window) for window in near)]
        scene = _load(sensors, solid, lamps, ambient, with_albedo, Path(folder))
        seen = np.array(mitsuba.render(scene, sensor=0, spp=few, seed=seed), np.float32)
        for number, (left, top, width, height) in enumerate(near, start=1):
            better = np.array(mitsuba.render(scene, sensor=number, spp=samples, seed=seed + number), np.float32)
            seen[top : top + height, left : left + width] = better
    light = smooth_grain(seen[..., :3], seen[..., 3:6], sight.part, sight.first_vessel)
    clear = [number for number, part in enumerate(parts) if part.opacity is not None and (sight.part == number).any()]
    if not clear:
        return light
    windows = [_window(sight.part == number) for number in clear]
    with tempfile.TemporaryDirectory() as folder:
        sensors = [_sensor(view, samples, seed, window) for window in windows]
        scene = _load(sensors, parts, lamps, ambient, integrator, Path(folder))
        for place, number in enumerate(clear):
            skin_light = np.array(mitsuba.render(scene, sensor=place, spp=samples, seed=seed), np.float32)[..., :3]
            _lay_over(light, skin_light, windows[place], sight, number, parts[number].opacity)
    return light


def _by_vessel(parts: list[Part], sight: Sight) -> list[list[int]]:
    """Numbers of the solid parts of each vessel that is in the picture."""
    out: dict[str, list[int]] = {}
    for number, part in enumerate(parts):
        if number >= sight.first_vessel and part.opacity is None and (sight.part == number).any():
            out.setdefault(part.name.split("_")[0], []).append(number)
    return list(out.values())


def _window(here: NDArray[np.bool_]) -> Window:
    rows, columns = np.nonzero(here)
    return int(columns.min()), int(rows.min()), int(np.ptp(columns)) + 1, int(np.ptp(rows)) + 1


def _lay_over(
    light: Field, skin_light: Field, window: Window, sight: Sight, number: int, opacity: Field | None
) -> None:
    """Two layers of a clear part, front and back, over ``light`` in place."""
    left, top, width, height = window
    part = (slice(top, top + height), slice(left, left + width))
    if opacity is None:
        return
    here = sight.part[part] == number
    column, row = np.moveaxis(np.clip(sight.uv[part], 0, 0.9999) * np.array(opacity.shape[::-1]), -1, 0).astype(int)
    share = np.where(here, 1 - (1 - opacity[row, column]) ** 1.6, 0).astype(np.float32)
    share = np.where(here, cv2.GaussianBlur(share, (0, 0), 0.7), 0)[..., None]
    light[part] = light[part] * (1 - share) + calm(skin_light) * share


def render_sight(view: View, parts: list[Part]) -> Sight:
    """What each pixel sees first, however clear it is."""
    bare = [Part(part.name, part.mesh, matt(colour((0.5, 0.5, 0.5)))) for part in parts]
    with tempfile.TemporaryDirectory() as folder:
        integrator = {"type": "aov", "aovs": "uv:uv,shape:shape_index"}
        scene = _load([_sensor(view, 1, 0)], bare, [], (1.0, 1.0, 1.0), integrator, Path(folder))
        seen = np.array(mitsuba.render(scene, spp=1, seed=0), np.float32)
        names = [shape.id() for shape in scene.shapes()]
    numbers = {part.name: number for number, part in enumerate(parts)}
    table = np.array([-1, *(numbers[name] for name in names)], np.int32)
    first_vessel = min(number for number, part in enumerate(parts) if part.name.startswith("v"))
    return Sight(table[np.rint(seen[..., 2]).astype(int)], seen[..., :2], first_vessel)


def on_surfaces(view: View, parts: list[Part], sight: Sight) -> Sight:
    """The same, but a bed is seen where it stands behind clear film or under its own plug of inoculum."""
    lifted = [part.name.split("_")[1][:4] in ("film", "plug") for part in parts]
    if not any(lifted):
        return sight
    kept = [number for number, off in enumerate(lifted) if not off]
    behind = render_sight(view, [parts[number] for number in kept])
    number_behind = np.array([*kept, -1], np.int32)[behind.part]
    is_face = np.array([*(part.name.endswith("_surface") for part in parts), False])[number_behind]
    shown = np.array([*lifted, False])[sight.part] & is_face
    return Sight(
        np.where(shown, number_behind, sight.part), np.where(shown[..., None], behind.uv, sight.uv), sight.first_vessel
    )
