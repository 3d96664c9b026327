"""Inputs and outputs of a measurement: frozen dataclasses without behaviour."""

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
    """Facts about a vessel that measuring needs. ``None`` means: use the default of the kind.

    own_species: the farm's additions to the species table, by key.
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
    """What is known before a photo is measured.

    vessels: by id; a label whose id is not here is reported as unidentified.
    owner: id of the one vessel that an unlabelled photo shows (from its folder or file name), or None.
    regions: for a fixed camera, the box of each vessel in the frame, by id. Owner and regions may name a vessel's back
    the way its label does.
    kind: kind assumed for an unlabelled photo without an owner, and for every label when no vessel is known; or None.
    profile: colour profile of the camera; None leaves the colours unchanged.
    """

    vessels: Mapping[str, VesselSpec] = field(default_factory=dict)
    owner: str | None = None
    regions: Mapping[str, Box] = field(default_factory=dict)
    kind: Kind | None = None
    profile: CameraProfile | None = None


@dataclass(frozen=True)
class Suspect:
    """A colour suspect that may be contamination.

    colour: a plain word. area_cm2: on the face. box: in photo pixels. score: 0-1.
    own_colour: True if the species itself takes on this colour.
    """

    colour: str
    area_cm2: float
    box: Box
    score: float
    own_colour: bool = False


@dataclass(frozen=True)
class Sign:
    """A warning sign other than colour. name: its flag; box: in photo pixels; area_cm2: on the face."""

    name: str
    box: Box
    area_cm2: float


@dataclass(frozen=True)
class Reading:
    """One vessel in one photo. Percents are 0-100; low and high are the 80 % bounds.

    status: "ok" comes with a percent; "unusable" and "unidentified" come with a reason and what to do about it.
    flags: names of quality flags, see ``vision.flags``. side: which side of the vessel was photographed.
    steep_percent: share of a round wall's visible face that is inclined by more than 60 degrees to the view; None for
    flat faces.
    signs: warning signs other than colour, from all photos of the vessel.
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
    """A vessel's face, rectified to the face frame. This is what the farm stores of a photo.

    rgb: uint8 (H, W, 3), colour corrected sRGB: a perfect matt white is about 235.
    classes: class map, uint8 (H, W); 0 outside the vessel.
    classes_alone: class map from this photo only; ``classes`` may also use the vessel's other photos.
    px_per_mm: scale of the frame.
    to_photo: float64 (3, 3), from face pixels (column, row, 1) to photo pixels.
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
    """A reading and the face it was measured on (None without a percent).

    refused_face: of a reading that bears no percent but shows a suspect, to look at; its class map is not relied on.
    """

    reading: Reading
    face: Face | None = None
    refused_face: Face | None = None


def kind_of(spec: VesselSpec) -> VesselKind:
    """The vessel's kind, with sizes from the vessel's record where it has any."""
    kind = vessel_kinds()[spec.kind]
    if not (spec.diameter_mm or spec.face_width_mm or spec.face_height_mm or spec.label_place):
        return kind
    width = spec.diameter_mm or spec.face_width_mm or kind.face_width_mm
    height = spec.face_height_mm or (spec.diameter_mm if kind.is_dish else None) or kind.face_height_mm
    return replace(kind, face_width_mm=width, face_height_mm=height, label_place=spec.label_place or kind.label_place)
