"""Geometry of the vessel label, version 1.

All lengths are millimetres on the sticker, origin at its top left corner, x to the right, y down.
The label's design is this project's own; the code on it follows ISO/IEC 18004 (QR code, version 1, level Q).
"""

from collections.abc import Container
from dataclasses import dataclass
from typing import Literal

LabelSize = Literal["normal", "small"]
Side = Literal["front", "back"]

#: Longest vessel id that a version 1 symbol at level Q can hold in alphanumeric mode (ISO/IEC 18004, table 7).
VESSEL_ID_MAX_LENGTH = 16
#: Characters a vessel id may have: a subset of the alphanumeric mode of ISO/IEC 18004.
VESSEL_ID_PATTERN = r"[0-9A-Z\-./:]{1,16}"

#: What follows the vessel's id on the label of its back (this project's own convention).
BACK_SUFFIX = "/BACK"

#: Modules along one side of a version 1 symbol (ISO/IEC 18004).
CODE_MODULES = 21
#: Photo pixels for each module of the code at which the decoder of this project read all labels of its trials, which
#: were blurred, noisy and tilted (zxing-cpp; at 2.5 it read 95 of 100).
READABLE_PX_PER_MODULE = 3.0


@dataclass(frozen=True)
class Patch:
    """A neutral square on the label: its place in mm and its grey as an sRGB value, 0-255."""

    left_mm: float
    top_mm: float
    side_mm: float
    srgb: int

    @property
    def light(self) -> float:
        """Its linear light, 1.0 = a perfect matt white (IEC 61966-2-1; every patch lies above its straight part)."""
        return float(((self.srgb / 255 + 0.055) / 1.055) ** 2.4)


@dataclass(frozen=True)
class LabelGeometry:
    """Places of the parts of one size of the label, in mm."""

    size: LabelSize
    width_mm: float
    height_mm: float
    code_left_mm: float
    code_top_mm: float
    code_side_mm: float
    id_left_mm: float
    id_top_mm: float
    id_width_mm: float
    id_height_mm: float
    patches: tuple[Patch, ...]

    @property
    def module_mm(self) -> float:
        """Side of one module of the code, mm."""
        return self.code_side_mm / CODE_MODULES

    @property
    def readable_px_per_mm(self) -> float:
        """Scale of a photo in which every sharp label of this size is read."""
        return READABLE_PX_PER_MODULE / self.module_mm


def _scaled(scale: float, size: LabelSize) -> LabelGeometry:
    patches = ((41.0, 14.0, 200), (50.0, 14.0, 122), (41.0, 24.0, 85), (50.0, 24.0, 52))
    return LabelGeometry(
        size=size,
        width_mm=60.0 * scale,
        height_mm=40.0 * scale,
        code_left_mm=6.3 * scale,
        code_top_mm=6.35 * scale,
        code_side_mm=27.3 * scale,
        id_left_mm=40.0 * scale,
        id_top_mm=3.0 * scale,
        id_width_mm=18.0 * scale,
        id_height_mm=8.0 * scale,
        patches=tuple(Patch(x * scale, y * scale, 8.0 * scale, grey) for x, y, grey in patches),
    )


def back_label(vessel: str) -> str | None:
    """Text of the label for a vessel's back; None if the id is too long for it."""
    text = vessel + BACK_SUFFIX
    return text if len(text) <= VESSEL_ID_MAX_LENGTH else None


def vessel_and_side(text: str, vessels: Container[str]) -> tuple[str, Side]:
    """The vessel that a label names, and which side it is stuck on. vessels: the ids that are known.

    An id that ends like a back's label counts as a vessel of its own if it is among the known ids.
    """
    stem = text.removesuffix(BACK_SUFFIX)
    return (text, "front") if stem == text or not stem or text in vessels else (stem, "back")


LABELS: dict[LabelSize, LabelGeometry] = {
    "normal": _scaled(1.0, "normal"),
    "small": _scaled(0.5, "small"),
}
