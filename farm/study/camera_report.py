"""Findings about a camera and its light from one photo of labels or of a colour chart, in words."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

from calibration import (
    LABELS,
    NEUTRALS,
    CameraProfile,
    Edition,
    LabelSize,
    chart_light,
    fit_colours,
    luminance,
    tone_errors,
    vessel_kinds,
)
from farm.records.models import Vessel
from farm.store.errors import CalibrationError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from calibration import ColourFit
    from vision.camera import CameraInspection, InspectedChart

#: A third of the frame that is darker than the brightest by this share is reported (own choice: the label corrects its
#: own place only, and a vessel reaches some way from its label).
_UNEVEN, _EVEN = 0.20, 0.05
#: Light of a perfect white, 1.0 = full scale, between which exposure is fine (own choice; readings are flagged as dim
#: or overexposed further out).
_DIM, _BRIGHT = 0.30, 1.25
#: A grey that is off by more than this share is reported (own choice).
_TONE = 0.20
#: A label that would not be read at this share of its size is barely read as it is.
_BARELY = 0.9
#: Blur of the camera, standard deviation in px, above which it is the picture that is soft, not the distance too large.
_SOFT_PX = 1.2
_FEWEST_PLACES = 2
_ACROSS = ("left third", "middle third", "right third")
_DOWN = ("upper third", "third at mid-height", "lower third")
_AXES = (("from left to right", 1, _ACROSS), ("from top to bottom", 0, _DOWN))
#: Labels nearer to each other than this share of the frame tell nothing of the light along that axis.
_FEWEST_APART = 0.08


@dataclass(frozen=True)
class Finding:
    """One thing that was measured. fine: nothing need be changed; says: the figure, and what to change if not fine."""

    check: str
    value: float | None
    unit: str
    fine: bool
    says: str


@dataclass(frozen=True)
class Calibration:
    """The findings of one photo. camera: make and model, or "". profile: None without a chart."""

    camera: str
    findings: tuple[Finding, ...]
    profile: CameraProfile | None


def calibrate_camera(
    photo: Path,
    vessels: Sequence[Vessel] = (),
    *,
    label_size: LabelSize = "normal",
    edition: Edition = "since_2014",
    made_at: str = "",
) -> Calibration:
    """Measure a camera by one photo of labels, of a 24-patch colour chart, or of both.

    label_size: of labels that are on none of the vessels. Raises CalibrationError with what to do.
    """
    from vision.camera import inspect_camera
    from vision.pixels import PictureError, load_picture

    try:
        picture = load_picture(photo)
    except PictureError as error:
        raise CalibrationError(f"{photo}: {error}") from None
    sizes = {vessel.id: vessel.label_size or vessel_kinds()[vessel.kind].label_size for vessel in vessels}
    geometry = {vessel: LABELS[size] for vessel, size in sizes.items()}
    look = inspect_camera(picture.rgb, geometry, other=LABELS[label_size])
    if not look.labels and look.chart is None:
        unread = f"{look.n_unread} labels were found but none is readable: come closer" if look.n_unread else ""
        advice = (
            "fill the frame with a sheet of labels (`spawnrun labels`) or a 24-patch colour chart, sharp and square on"
        )
        raise CalibrationError(f"{photo}: {unread or f'no label and no colour chart found: {advice}'}")
    findings = [_labels_read(look)] if look.labels or look.n_unread else []
    findings += _label_findings(look) if look.labels else []
    profile, fit = None, None
    of_colours: list[Finding] = []
    if look.chart is not None:
        profile, fit, of_colours = _colours(look.chart, picture.camera, edition, made_at)
    findings += [*_light_findings(look, fit), *_tone_findings(look, fit), *of_colours]
    return Calibration(picture.camera, tuple(findings), profile)


def _labels_read(look: "CameraInspection") -> Finding:
    n = len(look.labels)
    lost = f"; {look.n_unread} found and not read: come closer, hold still, avoid glare" if look.n_unread else ""
    return Finding("labels", n, "read", look.n_unread == 0, f"{n} read{lost}")


def _label_findings(look: "CameraInspection") -> list[Finding]:
    """Scale, sharpness, and the smallest label that would be read."""
    scales = [label.px_per_mm for label in look.labels]
    scale = median(scales)
    spread = f" ({min(scales):.2f} to {max(scales):.2f})" if max(scales) > 1.05 * min(scales) else ""
    found = [Finding("scale", round(scale, 2), "px/mm", True, f"{scale:.2f} px for each mm{spread}")]
    blurs = [(one.blur_px, one.blur_px / one.px_per_mm) for one in look.labels if one.blur_px is not None]
    shares = [(one.smallest_share, one.width_mm) for one in look.labels if one.smallest_share is not None]
    if not blurs or not shares:
        return found
    blur_px, blur_mm = median(px for px, _ in blurs), median(mm for _, mm in blurs)
    share, width = median(one for one, _ in shares), median(one * width_mm for one, width_mm in shares)
    barely = share > _BARELY
    soft = barely and blur_px > _SOFT_PX
    sharp = f"edges are blurred by {blur_mm:.2f} mm or {blur_px:.1f} px (standard deviation)"
    advice = "; hold still, tap on a label to focus, clean the lens" if soft else ""
    found.append(Finding("sharpness", round(blur_mm, 3), "mm", not soft, sharp + advice))
    reach = f"the smallest label read from here is {width:.0f} mm wide ({100 * share:.0f} % of these)"
    advice = (
        "; the labels are barely read: come closer"
        if barely
        else f"; these would be read from {1 / share:.1f} times as far"
    )
    return [*found, Finding("smallest label", round(width, 1), "mm", not barely, reach + advice)]


def _light_findings(look: "CameraInspection", fit: "ColourFit | None") -> list[Finding]:
    whites = [label for label in look.labels if label.white is not None]
    found = []
    levels = [float(luminance(label.white)) for label in whites if label.white is not None]
    if not levels and fit is not None:
        levels = [float(luminance(fit.white))]
    if levels:
        level = median(levels)
        fill = f"a white would fill {100 * level:.0f} % of the camera's scale"
        advice = "; expose longer or add light" if level < _DIM else "; expose less" if level > _BRIGHT else ""
        found.append(Finding("exposure", round(100 * level, 1), "%", not advice, fill + advice))
    places = [(*label.middle, float(luminance(label.white))) for label in whites if label.white is not None]
    if len(places) < 2 * _FEWEST_PLACES and fit is not None and look.chart is not None:
        rows, columns = look.size_px
        middles = look.chart.places / (rows, columns)
        places = [
            (float(row), float(column), float(light)) for (row, column), light in zip(middles, fit.light, strict=True)
        ]
    even = {name: _uneven(places, axis, names) for name, axis, names in _AXES}
    known = [one for one in even.values() if one is not None]
    if not known:
        why = "unknown: labels or chart are in one place of the frame only; spread labels over all of it"
        return [*found, Finding("even light", None, "%", True, why)]
    worst = max(known, key=lambda one: one.value or 0.0)
    unknown = "".join(f"; {name} it is not known: spread labels over the frame" for name in even if even[name] is None)
    return [*found, replace(worst, says=worst.says + unknown)]


def _uneven(places: Sequence[tuple[float, float, float]], axis: int, names: tuple[str, str, str]) -> Finding | None:
    """How much darker the darkest part of the frame is than the brightest; None where only one part is known.

    The parts are thirds of the frame; where labels fill one of them only, the two halves of the labels.
    """
    thirds: dict[str, list[float]] = {}
    for place in places:
        thirds.setdefault(names[min(2, int(3 * place[axis]))], []).append(place[2])
    levels = {third: median(some) for third, some in thirds.items() if len(some) >= _FEWEST_PLACES}
    if len(levels) < 2:
        levels = _halves(places, axis)
    if len(levels) < 2:
        return None
    dark, bright = min(levels, key=levels.__getitem__), max(levels, key=levels.__getitem__)
    darker = 1 - levels[dark] / levels[bright]
    if darker < _EVEN:
        return Finding("even light", round(100 * darker, 1), "%", True, f"even within {100 * darker:.0f} %")
    contrast = f"the {dark} is {100 * darker:.0f} % darker than the {bright}"
    fine = darker < _UNEVEN
    return Finding("even light", round(100 * darker, 1), "%", fine, contrast if fine else f"move the lamp: {contrast}")


def _halves(places: Sequence[tuple[float, float, float]], axis: int) -> dict[str, float]:
    """Light in the two halves of the labels; none where they lie too near to each other along the axis."""
    at = [place[axis] for place in places]
    if not at or max(at) - min(at) < _FEWEST_APART:
        return {}
    middle = (min(at) + max(at)) / 2
    names = ("labels' left", "labels' right") if axis else ("labels' upper half", "labels' lower half")
    halves = ([place[2] for place in places if (place[axis] > middle) == is_far] for is_far in (False, True))
    return {name: median(some) for name, some in zip(names, halves, strict=True) if some}


def _tone_findings(look: "CameraInspection", fit: "ColourFit | None") -> list[Finding]:
    """Whether greys keep their steps in linear light: as the camera wrote them, or with its highlights unbent."""
    import numpy as np

    if fit is not None and look.chart is not None:
        of, known = "the chart's", luminance(chart_light()[NEUTRALS])
        seen = luminance(look.chart.light[NEUTRALS] / fit.light[NEUTRALS][:, None])
    else:
        of = "the labels' (or their printer's)"
        known = np.array([patch.light for patch in LABELS["normal"].patches])
        seen = np.median([label.greys for label in look.labels], axis=0)
    shoulder, errors = _better_tone(seen, known)
    worst = int(np.argmax(np.abs(errors)))
    off = 100 * float(errors[worst])
    which = "lightest" if known[worst] == known.max() else "darkest" if known[worst] == known.min() else "a middle"
    bent = "highlights are rolled off, which is undone; then " if shoulder else ""
    words = f"{bent}{of} greys are true within {abs(off):.0f} % in linear light"
    fine = abs(off) <= 100 * _TONE
    if not fine:
        words = (
            f"{bent}the {which} of {of} greys is {abs(off):.0f} % too {'light' if off > 0 else 'dark'} in linear light:"
            " turn off HDR, filters and picture styles; no glare on label or chart"
        )
    return [Finding("tone", round(off, 1), "%", fine, words.replace("the a ", "a "))]


def _better_tone(seen: "NDArray[np.floating]", known: "NDArray[np.floating]") -> "tuple[bool, NDArray[np.floating]]":
    tries = [(shoulder, tone_errors(light, known)) for shoulder, light in _readings_of(seen)]
    return min(tries, key=lambda one: float(abs(one[1]).max()))


def _readings_of(light: "NDArray[np.floating]") -> "tuple[tuple[bool, NDArray[np.floating]], ...]":
    """The light as the camera wrote it (first: it is taken where neither is better), and with highlights unbent."""
    from vision.camera import undo_highlight_shoulder

    return (False, light), (True, undo_highlight_shoulder(light))


def _colours(
    chart: "InspectedChart", camera: str, edition: Edition, made_at: str
) -> "tuple[CameraProfile | None, ColourFit | None, list[Finding]]":
    known = chart_light(edition)
    try:
        fits = [(shoulder, fit_colours(light, known, chart.places)) for shoulder, light in _readings_of(chart.light)]
    except ValueError as error:
        return None, None, [Finding("colour", None, "CIEDE2000", False, str(error))]
    shoulder, fit = min(fits, key=lambda one: float(one[1].differences_after.mean()))
    profile = CameraProfile(
        camera=camera,
        matrix=tuple((round(float(r), 5), round(float(g), 5), round(float(b), 5)) for r, g, b in fit.matrix),
        shoulder=shoulder,
        difference_before=round(float(fit.differences_before.mean()), 3),
        difference_after=round(float(fit.differences_after.mean()), 3),
        made_at=made_at,
    )
    differences = (
        f"mean CIEDE2000 {profile.difference_before:.2f} as it is, {profile.difference_after:.2f} with a profile"
        " (each patch by a profile made without it)"
    )
    verdict = "worth using" if profile.helps else "no profile needed"
    return profile, fit, [Finding("colour", profile.difference_before, "CIEDE2000", True, f"{differences}: {verdict}")]
