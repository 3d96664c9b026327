"""The scenes by name: what stands where, how it grows, the light and the camera. All invented."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from training.scenes.growth import Culture
from training.scenes.moulds import Mould

Rgb = tuple[float, float, float]


@dataclass(frozen=True)
class VesselPlan:
    """One vessel. inoculated_hours: since the scene's zero; shaken_hours: since inoculation; size_mm: a bag's face
    (width, height), a jar's radius and fill, a plate's radius twice; tan: tinge of old growth; tag: a coloured sticker;
    harmless: things of the mycelium that look like moulds.
    """

    id: str
    substrate: str
    culture: Culture
    inoculated_hours: float = -8.0
    moulds: tuple[Mould, ...] = ()
    shaken_hours: float | None = None
    size_mm: tuple[float, float] = (180.0, 230.0)
    tan: float = 0.0
    tag: Rgb | None = None
    drops: float = 0.0
    harmless: tuple[Mould, ...] = ()


@dataclass(frozen=True)
class ScenePlan:
    """One series.

    hours: of its photos since the zero (a midnight); px_per_mm: at the faces; strip, room, ambient, tint: light of the
    lamps; stops: exposure of each photo; a_tier: vessels side by side; aside_degrees: camera to the right; wander_mm:
    how far it is from its place; cast: of its white balance; size_in_list: faces' sizes stand in vessels.csv;
    followed: truth.json tells each vessel's growth to its end, which takes a while.
    """

    name: str
    kind: Literal["bag", "jar", "plate"]
    seed: int
    vessels: tuple[VesselPlan, ...]
    hours: tuple[float, ...]
    size_px: tuple[int, int]
    px_per_mm: float
    strip: Rgb
    room: Rgb
    ambient: Rgb
    stops: tuple[float, ...]
    a_tier: int = 3
    pitch_mm: tuple[float, float] = (215.0, 400.0)
    label_size: Literal["normal", "small", "none"] = "normal"
    wall: Rgb = (0.55, 0.53, 0.50)
    board: Rgb = (0.42, 0.43, 0.45)
    quality: tuple[int, int] = (75, 92)
    aside_degrees: float = 0.0
    wander_mm: float = 25.0
    cast: Rgb = (1.0, 1.0, 1.0)
    tint: Rgb | None = None
    size_in_list: bool = False
    followed: bool = True


def straw_bags() -> ScenePlan:
    """E1: light golden straw, warm light, one green mould."""
    cottony = Culture("cottony", 6.5, 30, 23, 34)
    vessels = (
        VesselPlan("STR-01", "straw", cottony, -10),
        VesselPlan("STR-02", "straw", Culture("thin", 7.0, 36, 27, 26), -14),
        VesselPlan("STR-03", "straw", Culture("cottony", 15, 30, 22, 0, start="top"), -12),
        VesselPlan("STR-04", "straw", cottony, -9, (Mould("green", 96, 6.0, (0.62, 0.6)),)),
        VesselPlan("STR-05", "straw", Culture("ropey", 6.0, 30, 18, 30), -20),
        VesselPlan("STR-06", "straw", Culture("cottony", 4.0, 48, 32, 22, stalled_hours=210), -6),
    )
    return ScenePlan(
        "E1", "bag", 101, vessels, (13, 64, 113, 160, 204, 253, 304), (1960, 1560), 2.12,
        (60, 47, 32), (22, 18, 13), (0.30, 0.25, 0.19), (0, 0.1, -0.2, 0, 0.2, -0.1, 0), wall=(0.60, 0.57, 0.50),
        board=(0.62, 0.61, 0.58), cast=(0.93, 1.0, 1.22),
    )  # fmt: skip


def coir_bags() -> ScenePlan:
    """E2: small bags of dark coir in cool light, some photos a stop under."""
    size = (150.0, 190.0)
    blue = (Mould("blue-green", 110, 5.0, (0.5, 0.35)),)
    vessels = (
        VesselPlan("COIR1", "coir", Culture("cottony", 5.0, 36, 20, 26), -12, size_mm=size),
        VesselPlan("COIR2", "coir", Culture("ropey", 5.5, 30, 18, 22), -16, size_mm=size),
        VesselPlan("COIR3", "coir", Culture("thin", 5.5, 30, 32, 30), -20, size_mm=size),
        VesselPlan("COIR4", "coir", Culture("cottony", 4.2, 36, 25, 20), -8, blue, size_mm=size),
    )  # fmt: skip
    return ScenePlan(
        "E2", "bag", 202, vessels, (10, 82, 130, 178, 226, 276), (1900, 1040), 2.45,
        (34, 42, 56), (13, 15, 19), (0.16, 0.19, 0.24), (0, -1.0, 0.1, -1.0, 0, -0.9), a_tier=4,
        pitch_mm=(184, 400), wall=(0.32, 0.36, 0.40), board=(0.55, 0.38, 0.22), cast=(1.06, 1.0, 0.90),
        size_in_list=True,
    )  # fmt: skip


def grain_jars() -> ScenePlan:
    """E3: jars of millet and sorghum; one shaken, one with black mould."""
    size = (44.0, 118.0)
    black = (Mould("black", 100, 5.0, (0.55, 0.55)),)
    vessels = (
        VesselPlan("MIL-1", "millet", Culture("cottony", 4.6, 30, 18, 18), -10, size_mm=size),
        VesselPlan("MIL-2", "millet", Culture("cottony", 4.4, 30, 18, 16), -14, shaken_hours=132, size_mm=size),
        VesselPlan("SOR-1", "sorghum", Culture("ropey", 4.8, 30, 16, 16), -8, size_mm=size),
        VesselPlan("SOR-2", "sorghum", Culture("cottony", 3.8, 36, 22, 14), -12, black, size_mm=size),
        VesselPlan("SOR-3", "sorghum", Culture("thin", 4.4, 30, 27, 18), -9, size_mm=size),
    )  # fmt: skip
    return ScenePlan(
        "E3", "jar", 303, vessels, (9, 57, 105, 153, 202, 250, 298), (1920, 1200), 2.55,
        (46, 46, 43), (20, 20, 19), (0.25, 0.25, 0.24), (0, 0.2, 0, -0.3, 0, 0.1, 0), a_tier=5, pitch_mm=(140, 400),
        wall=(0.62, 0.64, 0.62), board=(0.70, 0.66, 0.58),
    )  # fmt: skip


def agar_plates() -> ScenePlan:
    """E4: plates of four agars on a tray; a pink-orange and a green mould."""
    size = (86.0, 86.0)
    pink = (Mould("pink-orange", 60, 6.5, (0.3, 0.72), 28),)
    green = (Mould("green", 66, 5.5, (0.7, 0.28), 34),)
    ropey = Culture("ropey", 5.2, 22, 12, 1, "plug")
    vessels = (
        VesselPlan("AG.01", "cream agar", Culture("cottony", 4.6, 24, 14, 1, "plug"), -12, size_mm=size),
        VesselPlan("AG.02", "near-black agar", ropey, -10, size_mm=size),
        VesselPlan("AG.03", "amber agar", Culture("thin", 4.4, 24, 20, 1, "plug"), -14, size_mm=size),
        VesselPlan("AG.04", "brown agar", Culture("ropey", 3.8, 22, 13, 2, "two plugs"), -9, size_mm=size),
        VesselPlan("AG.05", "amber agar", ropey, -10, pink, size_mm=size),
        VesselPlan("AG.06", "near-black agar", Culture("cottony", 4.2, 24, 14, 1, "plug"), -11, green, size_mm=size),
    )  # fmt: skip
    return ScenePlan(
        "E4", "plate", 404, vessels, (12, 41, 65, 90, 116, 162, 210), (2000, 1660), 4.3,
        (30, 29, 27), (12, 12, 12), (0.40, 0.40, 0.40), (0, 0.1, 0, -0.2, 0.2, 0, 0.1), pitch_mm=(140, 172),
        label_size="small", wall=(0.42, 0.29, 0.18), board=(0.62, 0.63, 0.64), wander_mm=18,
    )  # fmt: skip


def held_bag() -> ScenePlan:
    """E5: one straw bag without a label, the camera in the hand."""
    vessels = (VesselPlan("STRAW-BAG", "straw", Culture("cottony", 6.2, 30, 22, 26), -8),)
    return ScenePlan(
        "E5", "bag", 505, vessels, (13, 62, 108, 155, 205, 252, 301), (1600, 1200), 2.6,
        (30, 31, 30), (26, 25, 23), (0.28, 0.28, 0.27), (0, -0.4, 0.3, 0, -0.6, 0.4, -0.2), a_tier=1,
        label_size="none", wall=(0.50, 0.55, 0.56), board=(0.36, 0.23, 0.13), wander_mm=90,
    )  # fmt: skip


def sawdust_bags() -> ScenePlan:
    """E6: hardwood sawdust with spawn grains and orange chips, coloured reflections, two moulds."""
    grey = (Mould("grey", 110, 5.5, (0.45, 0.38)),)
    pink = (Mould("pink-orange", 90, 6.0, (0.6, 0.62), 30),)
    vessels = (
        VesselPlan("HW/A1", "hardwood", Culture("ropey", 5.0, 36, 20, 34), -10),
        VesselPlan("HW/A2", "hardwood", Culture("cottony", 4.6, 36, 25, 40), -16, grey),
        VesselPlan("HW/A3", "hardwood", Culture("cottony", 11, 36, 25, 0, start="top"), -12, tan=0.5),
        VesselPlan("HW/B1", "hardwood", Culture("cottony", 4.4, 36, 27, 30), -9, pink),
        VesselPlan("HW/B2", "hardwood", Culture("thin", 5.0, 36, 32, 36), -20),
        VesselPlan("HW/B3", "hardwood", Culture("cottony", 5.4, 36, 22, 26), -14),
    )  # fmt: skip
    return ScenePlan(
        "E6", "bag", 606, vessels, (11, 84, 132, 181, 229, 279), (1960, 1560), 2.12,
        (48, 46, 42), (20, 20, 19), (0.22, 0.22, 0.21), (0, 0.1, -0.1, 0.1, 0, -0.2), wall=(0.45, 0.47, 0.44),
        board=(0.30, 0.31, 0.33), tint=(26, 4, 34),
    )  # fmt: skip


def jars_aside() -> ScenePlan:
    """E7: jars of grain with the camera well to the side."""
    size = (43.0, 112.0)
    green = (Mould("green", 96, 5.0, (0.5, 0.6)),)
    vessels = (
        VesselPlan("RYA-1", "sorghum", Culture("cottony", 4.4, 30, 20, 18), -10, size_mm=size),
        VesselPlan("RYA-2", "millet", Culture("ropey", 4.6, 30, 17, 18), -14, size_mm=size),
        VesselPlan("RYA-3", "millet", Culture("cottony", 4.0, 30, 20, 14), -9, green, size_mm=size),
        VesselPlan("RYA-4", "sorghum", Culture("thin", 4.8, 30, 25, 20), -12, size_mm=size),
    )  # fmt: skip
    return ScenePlan(
        "E7", "jar", 707, vessels, (10, 82, 130, 178, 226, 274), (1900, 1240), 2.7,
        (40, 43, 46), (19, 20, 22), (0.24, 0.25, 0.27), (0, -0.3, 0, 0.2, 0, -0.2), a_tier=4, pitch_mm=(150, 400),
        wall=(0.52, 0.54, 0.58), board=(0.58, 0.42, 0.26), aside_degrees=30,
    )  # fmt: skip


def clean_confounders() -> ScenePlan:
    """E8: no mould at all: orange chips, tan tinge, droplets, coloured tags."""
    vessels = (
        VesselPlan("OK-1", "hardwood", Culture("cottony", 5.6, 36, 22, 34), -10, tan=1.0),
        VesselPlan("OK-2", "hardwood", Culture("cottony", 5.2, 36, 22, 36), -12, tag=(0.05, 0.35, 0.10)),
        VesselPlan("OK-3", "hardwood", Culture("ropey", 5.2, 36, 20, 30), -9, drops=1.0),
        VesselPlan("OK-4", "straw", Culture("cottony", 6.2, 30, 22, 28), -14, tan=0.7, tag=(0.75, 0.30, 0.05)),
    )
    return ScenePlan(
        "E8", "bag", 808, vessels, (11, 84, 133, 181, 229, 277), (2000, 1120), 2.2,
        (50, 47, 42), (22, 21, 20), (0.24, 0.23, 0.21), (0, 0.1, -0.2, 0.1, 0, 0.2), a_tier=4,
        wall=(0.50, 0.48, 0.44), board=(0.40, 0.40, 0.42), tint=(4, 24, 30),
    )  # fmt: skip


SCENES: dict[str, Callable[[], ScenePlan]] = {
    "E1": straw_bags, "E2": coir_bags, "E3": grain_jars, "E4": agar_plates, "E5": held_bag, "E6": sawdust_bags,
    "E7": jars_aside, "E8": clean_confounders,
}  # fmt: skip
