"""What goes into and comes out of a measurement: frozen records, no behaviour of their own."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration import CameraProfile, Kind, LabelPlace, LabelSize, Side, Species, VesselKind, vessel_kinds

Status = Literal["ok", "unusable", "unidentified"]
#: left, top, width, height in photo pixels.
Box = tuple[int, int, int, int]

#: Values of a class map.
BACKGROUND, BARE, MYCELIUM, SUSPECT, LABEL, OTHER = range(6)


@dataclass(frozen=True)
class VesselSpec:
    """What a picture needs to know of a vessel. ``None`` means: use what is usual for the kind.

    own_species: a farm's own rows of the species table, by key.
    """

    id: str
    kind: Kind
    species: str = ""
    substrate: str = ""
    face_width_mm: float | None = None
    face_height_mm: float | None = None
    diameter_mm: float | None = None
    label_size: LabelSize | None = None
    label_place: LabelPlace | None = None
    own_species: Mapping[str, Species] | None = None


@dataclass(frozen=True)
class PhotoContext:
    """What is known before a photo is looked at.

    vessels: by id; a label whose id is not here is reported as unidentified.
    owner: id of the one vessel that an unlabelled photo shows (from its folder or file name), or None.
    regions: fixed camera: box of each vessel in the frame, by id. Both may name a vessel's back, as its label does.
    kind: kind taken for an unlabelled photo without an owner, and for any label where no vessel is known; or None.
    profile: of the camera that took it; None: its colours are taken as they are.
    """

    vessels: Mapping[str, VesselSpec] = field(default_factory=dict)
    owner: str | None = None
    regions: Mapping[str, Box] = field(default_factory=dict)
    kind: Kind | None = None
    profile: CameraProfile | None = None


@dataclass(frozen=True)
class Suspect:
    """A colour anomaly that may be contamination.

    colour: plain word; area_cm2: on the face; box: in photo pixels; score: 0-1; own_colour: the species has it of its
    own.
    """

    colour: str
    area_cm2: float
    box: Box
    score: float
    own_colour: bool = False


@dataclass(frozen=True)
class Sign:
    """A sign beside colour, by its flag's name; box: in photo pixels; area_cm2: on the face."""

    name: str
    box: Box
    area_cm2: float


@dataclass(frozen=True)
class Reading:
    """One vessel in one photo. Percents are 0-100; low and high are the 80 % bounds.

    status "ok" has a percent; "unusable" and "unidentified" have none, and a reason with what to do about it.
    flags: names of quality conditions, see ``vision.flags``. side: of the vessel that was photographed.
    steep_percent: of a round wall's face as seen, the share that turns away by over 60 degrees; None for flat ones.
    signs: beside colour, from the vessel's photos together.
    """

    vessel: str | None
    kind: Kind | None
    status: Status
    reason: str = ""
    percent: float | None = None
    percent_low: float | None = None
    percent_high: float | None = None
    hidden_percent: float | None = None
    mm_per_px: float | None = None
    face_box: Box | None = None
    suspects: tuple[Suspect, ...] = ()
    flags: tuple[str, ...] = ()
    side: Side = "front"
    steep_percent: float | None = None
    signs: tuple[Sign, ...] = ()


@dataclass(frozen=True, eq=False)
class Face:
    """A vessel's face, rectified to the face frame; what is kept of a photo.

    rgb: uint8 (H, W, 3), colour corrected sRGB: a perfect matt white is about 235.
    classes: uint8 (H, W), values of the class map; 0 outside the vessel.
    classes_alone: the same as read from this photo alone; ``classes`` may use the vessel's other photos.
    px_per_mm: scale of the frame.
    to_photo: float64 (3, 3), maps face pixels (column, row, 1) to photo pixels.
    labelled: whether colour and scale come from a label.
    """

    rgb: NDArray[np.uint8]
    classes: NDArray[np.uint8]
    classes_alone: NDArray[np.uint8]
    px_per_mm: float
    to_photo: NDArray[np.float64]
    labelled: bool


@dataclass(frozen=True, eq=False)
class MeasuredVessel:
    """A reading together with the face it was taken from (None where there is no face)."""

    reading: Reading
    face: Face | None = None


def kind_of(spec: VesselSpec) -> VesselKind:
    """The vessel's kind with the sizes of its own record in place of the usual ones."""
    kind = vessel_kinds()[spec.kind]
    width = spec.diameter_mm or spec.face_width_mm or kind.face_width_mm
    height = spec.face_height_mm or (spec.diameter_mm if spec.kind == "plate" else None) or kind.face_height_mm
    return replace(kind, face_width_mm=width, face_height_mm=height, label_place=spec.label_place or kind.label_place)
