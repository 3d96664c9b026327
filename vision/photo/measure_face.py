"""Judge, segment and measure one face."""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import vessel_kinds
from vision.face import FoundFace, judge_light, judge_sharpness, steep_percent
from vision.photo.beyond_outline import without_what_goes_on
from vision.pixels import decode_srgb8, lit
from vision.records import Face, MeasuredVessel, Reading, Suspect, VesselSpec
from vision.surface import count_own_colours, fill_reading, mask_box, segment_within

#: Confidence of an outline, 0-1, below which no vessel is reported, and below which the reading is flagged.
MIN_CONFIDENCE, _LOW_CONFIDENCE = 0.45, 0.6
_MIN_SEEN_SHARE, _CUT_SHARE = 0.6, 0.985
#: Under glare, and the more so without a label, when nobody knows how bright white is, growth cannot always be told.
#: Where bounds are wider than this, in points, no number is given. Set on 43 scenes that no network had learned from. A
#: labelled vessel with a suspect may have wider ones: it is to be looked at, not to be photographed again.
WIDEST, WIDEST_WITH_SUSPECT = 13.0, 25.0
_NOT_FOUND = (
    "retake: no vessel was found at this label; show all of it, square on,"
    " and check that its label_size (normal or small) is the size that was printed"
)
#: An outline without a label whose box is narrower than this, px, is a sliver of something and not a vessel.
MIN_FACE_PX = 37
NO_VESSEL_FOUND = "retake: no vessel found in the picture; fill about half of the frame with one vessel"
_CANNOT_TELL_UNLABELLED = "retake: what is mycelium cannot be told without a label; lay one beside the vessel"
_CANNOT_TELL = "retake: what is mycelium cannot be told here; light it evenly, without glare, and not too bright"


def guessed_white(pixels: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Estimated light (3,) of a perfect matt white: neutral, and slightly brighter than the brightest pixels."""
    if pixels.size == 0:
        return np.ones(3)
    bright = np.quantile(decode_srgb8(pixels[:, None, :]).max(axis=-1), 0.97)
    return np.full(3, max(1.1 * float(bright), 0.02))


def measure_face(
    spec: VesselSpec,
    found: FoundFace,
    picture: NDArray[np.uint8],
    white: NDArray[np.float64],
    seen: NDArray[np.bool_],
    flags: tuple[str, ...],
    *,
    labelled: bool,
) -> MeasuredVessel:
    """The reading of one face, or a refusal with the reason."""
    frame = found.frame
    inside = found.inside & ~found.label & seen
    box = mask_box(found.inside, frame)
    mm_per_px = round(1.0 / (frame.px_per_mm * frame.photo_px_per_px), 5)
    seen_share = int(np.count_nonzero(found.inside & seen)) / max(1, int(np.count_nonzero(found.inside)))

    def refused(reason: str, suspects: tuple[Suspect, ...] = ()) -> MeasuredVessel:
        refusal = Reading(
            spec.id or None, spec.kind, "unusable", reason, mm_per_px=mm_per_px, face_box=box, flags=flags,
            suspects=suspects,
        )  # fmt: skip
        return MeasuredVessel(refusal)

    if found.confidence < MIN_CONFIDENCE:
        return refused(_NOT_FOUND)
    if not labelled and min(box[2:]) < MIN_FACE_PX:
        return refused(NO_VESSEL_FOUND)
    if seen_share < _MIN_SEEN_SHARE:
        return refused("retake: the face lies mostly outside the picture")
    dark, light_flags = judge_light(picture, inside, white, labelled=labelled)
    blurred, sharp_flags = ("", ()) if dark else judge_sharpness(picture, found.inside, frame.px_per_mm)
    if dark or blurred:
        return refused(dark or blurred)
    flags = (*flags, *light_flags, *sharp_flags)
    flags += ("cut_by_frame",) if seen_share < _CUT_SHARE else ()
    flags += ("outline_unsure",) if found.confidence < _LOW_CONFIDENCE else ()
    # Without a label the segmenter uses the camera's exposure and white balance.
    scene = lit(picture, white if labelled else np.ones(3))
    encoded = scene.encoded()
    kept = encoded if seen.all() else np.asarray(cv2.copyTo(encoded, seen.view(np.uint8)), np.uint8)
    reading = Reading(
        vessel=spec.id or None,
        kind=spec.kind,
        status="ok",
        mm_per_px=mm_per_px,
        face_box=box,
        flags=flags,
        steep_percent=_rounded(steep_percent(spec, found.inside | found.label, inside)),
    )
    blank = np.zeros(inside.shape, np.uint8)
    face = Face(kept, blank, blank, frame.px_per_mm, frame.to_photo, labelled)
    seen_face = segment_within(spec, face, scene, inside)
    beyond = seen & ~found.inside & ~found.label
    seen_face, inside = without_what_goes_on(seen_face, scene, inside, beyond, frame.px_per_mm)
    filled = fill_reading(reading, face, seen_face, inside, found.label, cut_share=1.0 - seen_share)
    own_told = count_own_colours(filled, spec)
    suspects = own_told.reading.suspects
    widest = WIDEST_WITH_SUSPECT if labelled and suspects else WIDEST
    if width_of_bounds(filled.reading, spec, labelled=labelled) <= widest:
        return own_told
    told = _suspects_seen(suspects)
    refusal = refused((_CANNOT_TELL if labelled else _CANNOT_TELL_UNLABELLED) + told, suspects)
    return replace(refusal, refused_face=own_told.face) if told else refusal


def _suspects_seen(suspects: Sequence[Suspect]) -> str:
    """What a refusal says of suspects, beside those of the species' own colour."""
    colours = ", ".join(dict.fromkeys(one.colour for one in suspects if not one.own_colour))
    if not colours:
        return ""
    return f"; a patch is seen that may be mould ({colours}): look at it and keep the vessel closed"


def width_of_bounds(reading: Reading, spec: VesselSpec, *, labelled: bool) -> float:
    """Width of a reading's bounds, points; of a dish or without a label, as if they went beyond 0 and 100 %.

    Smooth pale agar and a full lawn can look alike, and so can anything white without a label: one that is taken for
    the other has half of its bounds cut off, and is as doubtful as at 50 %. Of the 8 readings that this refuses on
    those scenes, all of dishes, two were 25 and 31 points off.
    """
    percent, low, high = reading.percent or 0.0, reading.percent_low or 0.0, reading.percent_high or 0.0
    can_be_either = vessel_kinds()[spec.kind].is_dish or not labelled
    return 2 * max(percent - low, high - percent) if can_be_either else high - low


def _rounded(percent: float | None) -> float | None:
    return None if percent is None else round(percent, 1)
