"""All of a scene that is not a vessel: boards, walls, trays, things that stand about, lamps, the camera's place."""

import numpy as np

from training.scenes.meshes import box, placing, sheet
from training.scenes.recipes import Rgb, ScenePlan
from training.scenes.render import Lamp, Material, Part, View, colour, gloss, look, matt, texture
from training.scenes.vessels import bottle, tape
from training.segmenter.noise import Rng, rough_noise, stretched_noise

BOARD_MM = 58.0
_DISTANCE_MM = 1750.0


def stands(plan: ScenePlan) -> list[tuple[float, float, float]]:
    """Where each vessel's foot stands (plates: its middle), (x, y, z) mm."""
    out = []
    for number in range(len(plan.vessels)):
        tier, place = divmod(number, plan.a_tier)
        across = min(plan.a_tier, len(plan.vessels) - tier * plan.a_tier)
        x = (place - (across - 1) / 2) * plan.pitch_mm[0]
        out.append((x, -tier * plan.pitch_mm[1], 30.0 if plan.kind == "jar" else 0.0))
    return out


def _wood(rng: Rng, rgb: Rgb, contrast: float = 0.16) -> Material:
    grain = stretched_noise(rng, (400, 800), 10, 14, 0) + 0.4 * rough_noise(rng, (400, 800), 60, 4)
    return matt(texture(np.array(rgb, np.float32) * np.exp(contrast * grain[..., None])))


def _plaster(rng: Rng, rgb: Rgb) -> Material:
    spots = rough_noise(rng, (600, 900), 120, 6, 0.6)
    return matt(texture(np.clip(np.array(rgb, np.float32) * (1 + 0.05 * spots[..., None]), 0.01, 0.95)))


def shelf(rng: Rng, plan: ScenePlan) -> list[Part]:
    """Boards, posts and wall behind bags and jars."""
    width = plan.pitch_mm[0] * plan.a_tier + 190
    tiers = -(-len(plan.vessels) // plan.a_tier)
    front = 75.0 if plan.kind == "jar" else 110.0
    thick = BOARD_MM if plan.kind == "jar" else 24.0
    parts = [Part("x_wall", sheet(5000, 3600).placed(placing((0, 200, -260))), _plaster(rng, plan.wall))]
    for tier in range(-1, tiers):
        if tier < 0 and (plan.kind == "jar" or plan.a_tier == 1):
            continue
        y = -tier * plan.pitch_mm[1] - thick
        board = box(width if plan.a_tier > 1 else 2600, thick, front + 250).placed(placing((0, y, front / 2 - 125)))
        parts.append(Part(f"x_board{tier + 1}", board, _wood(rng, plan.board)))
    if plan.kind == "bag" and plan.a_tier > 1:
        for side in (-1, 1):
            post = box(34, 3000, 34).placed(placing((side * (width / 2 + 4), -1500, 90)))
            parts.append(Part(f"x_post{side + 1}", post, gloss((0.25, 0.26, 0.28), 0.3)))
    return parts


def tray(rng: Rng, plan: ScenePlan) -> list[Part]:
    """A table with a tray; its floor at z = -4."""
    width, height = plan.pitch_mm[0] * plan.a_tier + 40, plan.pitch_mm[1] * 2 + 20
    middle = -plan.pitch_mm[1] / 2 - 12
    parts = [
        Part("x_table", sheet(1800, 1500).placed(placing((0, middle, -24))), _wood(rng, plan.wall, 0.22)),
        Part("x_tray", sheet(width, height).placed(placing((0, middle, -4))), gloss(plan.board, 0.35)),
    ]
    for name, size, at in (
        ("x_edge0", (width + 16, 8.0), (0, height / 2 + 4)), ("x_edge1", (width + 16, 8.0), (0, -height / 2 - 4)),
        ("x_edge2", (8.0, height), (width / 2 + 4, 0)), ("x_edge3", (8.0, height), (-width / 2 - 4, 0)),
    ):  # fmt: skip
        edge = box(size[0], size[1], 34).placed(placing((at[0], middle + at[1] - size[1] / 2, -7)))
        parts.append(Part(name, edge, gloss(tuple(0.8 * c for c in plan.board), 0.35)))  # type: ignore[arg-type]
    return parts


def things(rng: Rng, plan: ScenePlan) -> list[Part]:
    """A bottle, a roll of tape, a carton, a card: what stands about and must not be taken for a vessel."""
    hues: list[Rgb] = [(0.05, 0.20, 0.45), (0.55, 0.06, 0.05), (0.08, 0.32, 0.16), (0.70, 0.50, 0.05), (0.6, 0.6, 0.6)]
    pick = rng.permutation(len(hues))
    if plan.kind == "plate":
        x = plan.pitch_mm[0] * plan.a_tier / 2 + 52
        pen = box(9, 140, 9).placed(placing((-x, -180, -18), spin_degrees=8))
        pad = sheet(60, 90).placed(placing((x + 6, -40, -22), spin_degrees=-6))
        return [Part("x_pen", pen, gloss(hues[pick[0]])), Part("x_pad", pad, matt(colour((0.75, 0.72, 0.35))))]
    side = plan.pitch_mm[0] * plan.a_tier / 2 + 30
    foot = -((len(plan.vessels) - 1) // plan.a_tier) * plan.pitch_mm[1]
    body, head = bottle(150 if plan.kind == "jar" else 190)
    at = placing((side + (60 if plan.a_tier == 1 else 0), 0, -70))
    parts = [
        Part("x_bottle", body.placed(at), gloss(hues[pick[0]], 0.1)),
        Part("x_head", head.placed(at), gloss(hues[pick[1]], 0.2)),
        Part("x_tape", tape(48, 26).placed(placing((-side + 20, foot, -60))), gloss(hues[pick[2]], 0.15)),
    ]
    carton = box(120, 110, 90).placed(placing((-side - 15, 0, -150), turn_degrees=20))
    return [*parts, Part("x_carton", carton, matt(colour((0.36, 0.24, 0.13))))]


def lamps(rng: Rng, plan: ScenePlan) -> list[Lamp]:
    """A strip before and above the shelf, a panel in the room behind the camera, now and then a coloured one aside."""
    if plan.kind == "plate":
        return [
            Lamp((900, 60), placing((-420, 300, 900)) @ _facing(150, 30), plan.strip),
            Lamp((700, 90), placing((620, 200, 1500)) @ _facing(165, -20), plan.room),
        ]
    width = plan.pitch_mm[0] * plan.a_tier
    strip = placing((rng.normal(0, 40), 560, 520)) @ _facing(180 - 50, 0)
    side = 1 if rng.random() < 0.5 else -1
    room = placing((side * 450 + rng.normal(0, 60), 1000 + rng.normal(0, 60), 1500)) @ _facing(180 - 40, 0)
    out = [Lamp((1.2 * width, 34), strip, plan.strip)]
    if plan.kind == "jar":  # upright, at the camera's height: only so does upright glass mirror it
        upright = placing((side * 750.0, 250, 1000), turn_degrees=180 + side * 37)
        out.append(Lamp((70, 1000), upright, tuple(2.5 * c for c in plan.room)))  # type: ignore[arg-type]
    else:
        out.append(Lamp((300, 800), room, plan.room))
    if plan.tint is not None:
        out.append(Lamp((60, 500), placing((-900, 250, 700), turn_degrees=125), plan.tint))
    return out


def _facing(down_degrees: float, aside_degrees: float) -> np.ndarray:
    """A turn of a sheet that shines along +z: 180 makes it shine along -z, 90 straight down; aside turns it about y."""
    tilt = np.radians(down_degrees)
    out = np.eye(4)
    out[:3, :3] = [[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]]
    return np.asarray(placing((0, 0, 0), aside_degrees) @ out)


def view(rng: Rng, plan: ScenePlan) -> View:
    """Where the camera is this time."""
    tiers = -(-len(plan.vessels) // plan.a_tier)
    tall = 0.0 if plan.kind == "plate" else plan.vessels[0].size_mm[1] * (0.62 if plan.kind == "bag" else 0.5)
    middle = np.array([0.0, -(tiers - 1) * plan.pitch_mm[1] / 2 + tall - (16 if plan.kind == "plate" else 0), 20.0])
    near = _DISTANCE_MM * (0.45 if plan.kind == "plate" else 1.0)
    wander = rng.normal(0, plan.wander_mm, 3)
    aside = np.radians(plan.aside_degrees)
    origin = middle + np.array([np.sin(aside) * near, 0, np.cos(aside) * near]) + wander
    target = middle + rng.normal(0, 0.3 * plan.wander_mm, 3) * (1, 1, 0)
    scale = plan.px_per_mm * float(np.exp(rng.normal(0, 0.08 if plan.label_size == "none" else 0.012)))
    return look(tuple(origin), tuple(target), rng.normal(0, 0.7), scale * near, plan.size_px)
