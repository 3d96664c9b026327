"""A vessel of a plan as parts of the world on one day, and its history."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import LABELS
from training.scenes.growth import Grown, State, classify, look, plant
from training.scenes.meshes import Mesh, Points, place, placing, sheet
from training.scenes.pieces import bed
from training.scenes.recipes import ScenePlan, VesselPlan
from training.scenes.render import Material, Part, colour, matt, metal, skin, texture, under_film
from training.scenes.sticker import draw_label
from training.scenes.vessels import Body, bag, jar, plate
from training.scenes.world import BOARD_MM
from training.segmenter.noise import Field, Rng, rough_noise, smooth_noise


@dataclass(frozen=True, eq=False)
class Vessel:
    """A vessel with its form, its history (after a shake another one) and where it stands."""

    number: int
    plan: VesselPlan
    body: Body
    history: Grown
    shaken: Grown | None
    stand: tuple[float, float, float]
    creases: Field

    def grown_at(self, hours: float) -> Grown:
        """The history that holds ``hours`` after inoculation."""
        after = self.plan.shaken_hours
        return self.shaken if self.shaken is not None and after is not None and hours >= after else self.history

    def classes_at(self, hours: float) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
        """Classes of the bed ``hours`` after inoculation, and where contamination is coloured."""
        return classify(self.grown_at(hours), hours)

    def state_at(self, hours: float) -> State:
        """The look of the bed ``hours`` after inoculation."""
        return look(self.grown_at(hours), hours, self.plan.tan)


def build(rng: Rng, scene: ScenePlan, number: int, stand: tuple[float, float, float]) -> Vessel:
    """Make a vessel: form, bed and history."""
    plan = scene.vessels[number]
    width, height = plan.size_mm
    if scene.kind == "bag":
        label = None if scene.label_size == "none" else (60.0, 40.0)
        body = bag(rng, width, height, 0.6 * width, rng.uniform(78, 105), label, tagged=plan.tag is not None)
    elif scene.kind == "jar":
        body = jar(rng, width, height, rng.uniform(24, 34))
    else:
        body = plate(width / 2, ())
    px_per_mm = 6.0 if scene.kind == "plate" else 3.0
    history = plant(rng, bed(rng, plan.substrate, body.bed_mm, px_per_mm), plan.culture, plan.harmless + plan.moulds)
    if scene.kind == "plate":
        two = ((-0.14 * width, 0.16 * width), (0.16 * width, -0.12 * width))
        body = plate(width / 2, ((0.0, 0.0),) if plan.culture.start == "plug" else two)
    shaken = None
    if plan.shaken_hours is not None:
        again = replace(plan.culture, lag_hours=plan.shaken_hours + 26, points=plan.culture.points * 4, tau_hours=32)
        shaken = plant(rng, bed(rng, plan.substrate, body.bed_mm, px_per_mm), again)
    return Vessel(number + 1, plan, body, history, shaken, stand, _creases(rng, history.bed.height_mm.shape, px_per_mm))


def _creases(rng: Rng, shape: tuple[int, int], px_per_mm: float) -> Field:
    """Height of a film's wrinkles, mm."""
    waves = 0.55 * smooth_noise(rng, shape, 22 * px_per_mm) + 0.16 * smooth_noise(rng, shape, 7 * px_per_mm)
    folds = np.exp(-np.abs(rough_noise(rng, shape, 38 * px_per_mm, 3)) * 9)
    places = np.clip(0.5 + smooth_noise(rng, shape, 60 * px_per_mm), 0, 1.4)
    return (places * (waves + 0.55 * folds)).astype(np.float32)


def dress(rng: Rng, scene: ScenePlan, vessel: Vessel, hours: float) -> tuple[list[Part], Points | None, State]:
    """Parts of the vessel as it stands on one day, its label's corners in the world (4, 3), and the state of its bed.

    hours: since inoculation.
    """
    turn = rng.normal(0, 4.0) if scene.kind != "plate" else 0.0
    spin = rng.normal(0, 5) if scene.kind == "plate" else rng.normal(0, 0.6)
    shift = rng.normal(0, (3.5, 0.0, 6.0)) if scene.kind != "plate" else rng.normal(0, (1.5, 1.5, 0.0))
    at = tuple(np.array(vessel.stand) + shift)
    move = placing(at, turn, spin_degrees=spin)
    state = vessel.state_at(hours)
    surface = _skin(rng, scene, vessel, state)
    name = f"v{vessel.number}"
    parts = [Part(f"{name}_surface", vessel.body.surface.placed(move), surface)]
    for k, (what, mesh) in enumerate(vessel.body.parts):
        parts.append(
            Part(f"{name}_{what}{k}", mesh.placed(move), _material(what, vessel.plan, state), _opacity(rng, what))
        )
    if scene.label_size == "none":
        return parts, None, state
    sticker, corners = _sticker(scene, vessel, move)
    parts.append(Part(f"{name}_label", sticker, matt(texture(draw_label(vessel.plan.id, scene.label_size)))))
    return parts, corners, state


def _sticker(scene: ScenePlan, vessel: Vessel, move: Points) -> tuple[Mesh, Points]:
    """The label: on a bag it moves with it; below a jar or plate it was stuck once for all (its own small lean)."""
    if vessel.body.sticker is not None and vessel.body.corners is not None:
        return vessel.body.sticker.placed(move), place(vessel.body.corners, move)
    label = LABELS["small" if scene.label_size == "small" else "normal"]
    own = np.random.default_rng(scene.seed * 100 + vessel.number)
    x, y, _ = vessel.stand
    if scene.kind == "jar":
        at = (x + own.normal(0, 4), y - BOARD_MM / 2 + own.normal(0, 2), 75.6)
    else:
        at = (x + own.normal(0, 3), y - vessel.plan.size_mm[1] / 2 - 8 - label.height_mm / 2, -3.4)
    where = placing(at, spin_degrees=own.normal(0, 1.5))
    width, height = label.width_mm, label.height_mm
    corners = np.array([[-1, 1, 0], [1, 1, 0], [1, -1, 0], [-1, -1, 0]]) * (width / 2, height / 2, 0)
    return sheet(width, height).placed(where), place(corners, where)


def _skin(rng: Rng, scene: ScenePlan, vessel: Vessel, state: State) -> Material:
    shape = state.relief_mm.shape
    if scene.kind == "bag":
        today = _creases(rng, shape, 3.0)
        film = 0.8 * vessel.creases + 0.45 * today
        if vessel.plan.drops:
            places = np.clip(0.6 + smooth_noise(rng, shape, 180), 0, 1)
            drops = np.clip(rough_noise(rng, shape, 9, 2) - 0.9, 0, 1)
            film = film + 1.2 * vessel.plan.drops * places * drops
        return under_film(state.albedo, state.relief_mm, film.astype(np.float32), rng.uniform(0.05, 0.09))
    if scene.kind == "jar":
        wavy = 0.05 * smooth_noise(rng, shape, 75)
        return under_film(state.albedo, state.relief_mm, wavy, 0.03, 0.2)
    wet = 0.02 * smooth_noise(rng, shape, 60) + 0.3 * _softened(state.relief_mm)
    return under_film(state.albedo, state.relief_mm, wet.astype(np.float32), 0.12, 0.08)


def _softened(field: Field) -> Field:
    """A relief softened over about a millimetre."""
    return np.asarray(cv2.GaussianBlur(field, (0, 0), 6), np.float32)


#: Level and roughness of the outer face of a clear part, and how opaque it is.
_CLEAR = {"film": (0.5, 0.12, 0.0), "glass": (0.12, 0.05, 0.12), "foot": (0.35, 0.06, 0.5), "dish": (0.6, 0.08, 0.65)}


def _opacity(rng: Rng, what: str) -> Field | None:
    if what == "film":
        haze = 0.14 + 0.08 * rough_noise(rng, (120, 200), 14, 4)
        lines = 0.22 * np.exp(-np.abs(rough_noise(rng, (120, 200), 26, 4)) * 7)
        return np.asarray(np.clip(haze + lines, 0.04, 0.6), np.float32)
    return np.full((4, 4), _CLEAR[what][2], np.float32) if what in _CLEAR else None


def _material(what: str, plan: VesselPlan, state: State) -> Material:
    if what in _CLEAR:
        return skin(*_CLEAR[what][:2])
    if what == "top":
        shade = state.albedo[:60].mean(axis=(0, 1))
        return matt(colour((float(shade[0]), float(shade[1]), float(shade[2]))))
    if what == "lid":
        return metal(0.75, 0.28)
    flat = {"patch": (0.78, 0.78, 0.76), "plug": (0.62, 0.58, 0.48), "tag": plan.tag or (0.8, 0.8, 0.8)}
    return matt(colour(flat[what]))
