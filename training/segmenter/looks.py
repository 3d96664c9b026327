"""Other looks of the same faces: substrate, growth, mould, light, gloss, sharpness, grain; moulds put where none were.

A network that has seen one maker's growth and moulds knows that maker. What is varied here widens every face beyond
what its maker draws. All faces of a batch are changed at once, on the device that trains.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import torch
from torch import Tensor

from training.segmenter.fields import Draw, gaussian, mean_where
from training.segmenter.harmless import with_gloss, with_tape, with_tinge, with_writing
from training.segmenter.moulds import mould_colours, tinted_moulds, with_mould
from training.segmenter.view import COLONISED, View, changed_where

#: How often each is varied, and how often a mould, a lamp's reflection, writing, tape or a tinge is put on a face.
_GROWTH, _MOULD, _FIELD, _BLUR, _GRAIN, _ERODED = 0.6, 0.6, 0.5, 0.25, 0.5, 0.3
_PUT, _GLOSS, _WRITING, _TAPE, _TINGE = 0.15, 0.25, 0.12, 0.1, 0.2
#: How often a mould is put on a face that is otherwise left as its maker drew it, and each of what is harmless.
_PUT_ON_DRAWN, _HARMLESS_ON_DRAWN = 0.1, 0.08


@dataclass(frozen=True, eq=False)
class Looks:
    """What is changed of each face, the same for its coarse and its fine copy; first dimension: the face."""

    growth_shift: Tensor
    growth_contrast: Tensor
    mould_colour: Tensor
    mould_strength: Tensor
    tone: Tensor
    field: Tensor
    blur: Tensor
    grain: Tensor
    detail: Tensor
    eroded_px: Tensor
    is_put: Tensor
    is_glossy: Tensor
    is_written: Tensor
    is_taped: Tensor
    is_tinged: Tensor


def random_looks(draw: Draw, referenced: Tensor) -> Looks:
    """Looks of a batch; referenced (N,): without a label tones vary more, the camera has bent them as it liked."""
    n = len(referenced)
    other = draw.chance(_GROWTH, n, 1, 1, 1)
    warmth = torch.tensor([1.0, 0.3, 1.3], device=draw.device).view(1, 3, 1, 1)
    shift = 0.15 * draw.normal(n, 1, 1, 1) + 0.05 * draw.normal(n, 3, 1, 1) * warmth
    strength = draw.uniform(0, 0.3, n, 1, 1, 1) * draw.chance(_FIELD, n, 1, 1, 1)
    tones = torch.where(referenced > 0, 0.06, 0.15).view(-1, 1, 1, 1)
    return Looks(
        growth_shift=torch.where(other, shift.clamp_max(0.35), 0.0),
        growth_contrast=torch.where(other, (0.25 * draw.normal(n, 1, 1, 1)).exp(), 1.0),
        mould_colour=mould_colours(draw, n),
        mould_strength=draw.uniform(0.3, 1.0, n, 1, 1, 1) * draw.chance(_MOULD, n, 1, 1, 1),
        tone=(tones * draw.normal(n, 1, 1, 1)).exp(),
        field=strength * (draw.normal(n, 1, 3, 3) + 0.15 * draw.normal(n, 3, 3, 3)),
        blur=draw.uniform(0.3, 1.3, n, 1, 1, 1) * draw.chance(_BLUR, n, 1, 1, 1),
        grain=draw.uniform(0, 0.08, n, 1, 1, 1) * draw.chance(_GRAIN, n, 1, 1, 1),
        detail=(0.2 * draw.normal(n, 1, 1, 1)).exp(),
        eroded_px=draw.uniform(1, 4, n, 1, 1, 1).floor() * draw.chance(_ERODED, n, 1, 1, 1),
        is_put=draw.chance(_PUT, n, 1, 1, 1),
        is_glossy=draw.chance(_GLOSS, n, 1, 1, 1),
        is_written=draw.chance(_WRITING, n, 1, 1, 1),
        is_taped=draw.chance(_TAPE, n, 1, 1, 1),
        is_tinged=draw.chance(_TINGE, n, 1, 1, 1),
    )


def in_looks(draw: Draw, looks: Looks, view: View) -> View:
    """The faces in their looks; outside of a face everything is 0."""
    view = tinted_moulds(looks.mould_colour, looks.mould_strength, _grown_otherwise(looks, view))
    if not view.is_coarse:
        view = with_mould(draw, looks.is_put, with_tinge(draw, looks.is_tinged, view))
        view = with_writing(draw, looks.is_written, with_tape(draw, looks.is_taped, view))
        view = with_gloss(draw, looks.is_glossy, view)
    logs, detail = view.logs, view.detail
    light = torch.nn.functional.grid_sample(looks.field, view.place, "bicubic", "border", align_corners=True)
    logs = logs + light
    middle = mean_where(logs, (view.within > 0).float())
    logs = middle + (logs - middle) * looks.tone
    detail = detail * looks.detail * torch.exp(-looks.blur)
    within, truth = view.within, view.truth
    if not view.is_coarse:
        logs = _softened(logs, looks.blur)
        count, height, width = view.size
        logs = logs + looks.grain * draw.normal(count, 1, height, width)
        kept = _kept_of(within, looks.eroded_px)
        within, truth = within * kept, truth * kept
    seen = (within > 0).float()
    return replace(view, logs=logs * seen, detail=detail * seen, within=within, truth=truth)


def with_additions(draw: Draw, stays: Tensor, view: View) -> View:
    """Faces left as their maker drew them (``stays``, (N,)) with a mould, or what is harmless, put on some of them.

    A scene holds one mould or two, so all scenes together show each look only some dozens of times.
    """
    for put, share in (
        (with_tinge, _HARMLESS_ON_DRAWN),
        (with_mould, _PUT_ON_DRAWN),
        (with_tape, _HARMLESS_ON_DRAWN),
        (with_writing, _HARMLESS_ON_DRAWN),
        (with_gloss, _HARMLESS_ON_DRAWN),
    ):
        chosen = draw.chance(share, len(stays)) & stays
        view = changed_where(chosen, view, partial(_put_on_all, draw, put))
    return view


def _put_on_all(draw: Draw, put: Callable[[Draw, Tensor, View], View], view: View, at: Tensor) -> View:
    return put(draw, torch.ones((len(at), 1, 1, 1), device=at.device), view)


def _grown_otherwise(looks: Looks, view: View) -> View:
    grown = view.truth[:, COLONISED : COLONISED + 1]
    soft = grown if view.is_coarse else gaussian(grown, 1.2)
    middle = mean_where(view.logs, soft)
    more = looks.growth_contrast - 1
    logs = view.logs + soft * (looks.growth_shift + more * (view.logs - middle))
    return replace(view, logs=logs, detail=view.detail * (1 + soft * more))


def _softened(logs: Tensor, blur: Tensor) -> Tensor:
    """Logarithms smoothed by up to 1.3 px, each face by its own width: mixed from two fixed ones."""
    weak, strong = gaussian(logs, 0.7), gaussian(logs, 1.3)
    some = (blur / 0.7).clamp(0, 1)
    more = ((blur - 0.7) / 0.6).clamp(0, 1)
    return (logs + some * (weak - logs)) * (1 - more) + more * strong


def _kept_of(within: Tensor, eroded_px: Tensor) -> Tensor:
    """1 where the outline, drawn in by so many pixels, still holds the face."""
    outside = (within <= 0.5).float()
    kept = torch.ones_like(within)
    for pixels in (1, 2, 3):
        outside = torch.nn.functional.max_pool2d(outside, 3, 1, 1)
        kept = torch.where(eroded_px >= pixels, 1 - outside, kept)
    return kept
