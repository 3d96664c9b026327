"""Other looks of the same faces: substrate, growth, mould, light, gloss, sharpness, grain; moulds put where none were.

A network that has seen one maker's growth and moulds knows that maker. What is varied here widens every face beyond
what its maker draws. All faces of a batch are changed at once, on the device that trains.
"""

import math
from dataclasses import dataclass, replace

import torch
from torch import Tensor

from training.segmenter.fields import Draw, gaussian, mean_where, rough_noise, smooth_noise
from vision.surface.segmenter_input import INPUT_PX_PER_MM

#: Order of the planes of truth.
COLONISED, CONTAMINATED, COLOURED, VEILED = range(4)
#: How often each is varied, and how often a mould or a lamp's reflection is put on a face.
_GROWTH, _MOULD, _FIELD, _BLUR, _GRAIN, _ERODED, _PUT, _GLOSS = 0.6, 0.6, 0.5, 0.25, 0.5, 0.3, 0.3, 0.25
#: Logarithm of light 1.0 on the scale of the planes, which have the usual light at 0.
_WHITE = 1.5
#: A mould that changes the picture by less than this (mean, natural logarithm) teaches nothing and is left out.
_HARDLY_SEEN = 0.25


@dataclass(frozen=True, eq=False)
class View:
    """Faces, or parts of them, of a batch.

    logs (N, 3, h, w): logarithm of light, 0 outside; detail (N, 1, h, w): contrast finer than a pixel; within
    (N, 1, h, w): share of the pixel inside the face; truth (N, 4, h, w): shares; place (N, h, w, 2): column and row in
    the face, -1 to 1 from edge to edge. is_coarse: whether this is the thinned copy of whole faces, from which facts
    about the whole are taken.
    """

    logs: Tensor
    detail: Tensor
    within: Tensor
    truth: Tensor
    place: Tensor
    is_coarse: bool = False

    @property
    def size(self) -> tuple[int, int, int]:
        """Number of faces, height, width."""
        count, _, height, width = self.within.shape
        return count, height, width


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
    )


def mould_colours(draw: Draw, n: int) -> Tensor:
    """Colours that a mould could have (n, 3, 1, 1), as logarithms: any hue, or grey to black."""
    level = draw.uniform(0.03, 0.7, n, 1, 1, 1).log() + _WHITE
    grey = draw.log_uniform(0.01, 0.25, n, 1, 1, 1).log() + _WHITE
    turn = 2 * torch.pi / 3 * torch.arange(3, device=draw.device).view(1, 3, 1, 1)
    wheel = torch.cos(draw.uniform(0, 2 * torch.pi, n, 1, 1, 1) - turn)
    hue = level + 0.6 * draw.uniform(0.4, 1.4, n, 1, 1, 1) * wheel
    return torch.where(draw.chance(0.3, n, 1, 1, 1), grey.expand(-1, 3, -1, -1), hue)


def in_looks(draw: Draw, looks: Looks, view: View) -> View:
    """The faces in their looks; outside of a face everything is 0."""
    view = _mould_tinted(looks, _grown_otherwise(looks, view))
    if not view.is_coarse:
        view = _with_gloss(draw, looks, _with_mould(draw, looks, view))
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


def _grown_otherwise(looks: Looks, view: View) -> View:
    grown = view.truth[:, COLONISED : COLONISED + 1]
    soft = grown if view.is_coarse else gaussian(grown, 1.2)
    middle = mean_where(view.logs, soft)
    more = looks.growth_contrast - 1
    logs = view.logs + soft * (looks.growth_shift + more * (view.logs - middle))
    return replace(view, logs=logs, detail=view.detail * (1 + soft * more))


def _mould_tinted(looks: Looks, view: View) -> View:
    """The coloured parts brought to another colour, their own texture kept."""
    share = view.truth[:, COLOURED : COLOURED + 1]
    middle = mean_where(view.logs, share)
    return replace(view, logs=view.logs + share * looks.mould_strength * (looks.mould_colour - middle))


def _with_mould(draw: Draw, looks: Looks, view: View) -> View:
    """A mould of any form and colour on a part of a face, on growth or on bare substrate."""
    n = view.size[0]
    radius = draw.log_uniform(3.5, 22.0, n, 1, 1, 1) * INPUT_PX_PER_MM
    away = _away_from_a_point(draw, view) + 0.25 * radius * smooth_noise(draw, view.size, radius.view(-1) / 2)
    patch = ((radius - away) / draw.uniform(0.7, 3.0, n, 1, 1, 1) + 0.5).clamp(0, 1) * (view.within > 0)
    patch = patch * looks.is_put
    opacity = patch * draw.uniform(0.75, 1.0, n, 1, 1, 1) * _form(draw, view.size, radius, away)
    texture = draw.uniform(0.03, 0.3, n, 1, 1, 1) * rough_noise(draw, view.size, draw.uniform(1.0, 4.0, n))
    relief = draw.uniform(0.0, 0.5, n, 1, 1, 1) * (view.logs - gaussian(view.logs, 4.0))
    change = opacity * (mould_colours(draw, n) + texture + relief - view.logs)
    core = (patch > 0.5).float()
    is_seen = (mean_where(change.abs().mean(1, keepdim=True), core) > _HARDLY_SEEN).float()
    patch = patch * is_seen
    colonised, contaminated, coloured, veiled = view.truth.split(1, dim=1)
    told = patch * view.within
    truth = torch.cat([
        colonised * (1 - patch), torch.maximum(contaminated, told), torch.maximum(coloured, told), veiled,
    ], 1)  # fmt: skip
    return replace(view, logs=view.logs + change * is_seen, truth=truth)


def _form(draw: Draw, size: tuple[int, int, int], radius: Tensor, away: Tensor) -> Tensor:
    """Where within its outline a mould covers: all of it, specks or threads with gaps between them, or a ring."""
    n = size[0]
    fine = rough_noise(draw, size, draw.uniform(1.5, 5.0, n))
    specks = (fine > draw.uniform(-0.5, 0.7, n, 1, 1, 1)).float()
    ring = ((away - 0.75 * radius).abs() < 0.3 * radius).float().clamp_min(0.15)
    which = draw.uniform(0, 1, n, 1, 1, 1)
    return torch.where(which < 0.3, specks, torch.where(which < 0.45, ring, torch.ones_like(ring)))


def _away_from_a_point(draw: Draw, view: View) -> Tensor:
    """Distance of each pixel from a random pixel of the face, (N, 1, h, w), px."""
    n, height, width = view.size
    seen = (view.within > 0.9).flatten(1).float()
    at = torch.multinomial(seen + 1e-6, 1, generator=draw.generator)
    rows = torch.arange(height, device=draw.device).view(1, 1, -1, 1)
    columns = torch.arange(width, device=draw.device).view(1, 1, 1, -1)
    row, column = (at // width).view(n, 1, 1, 1), (at % width).view(n, 1, 1, 1)
    return torch.hypot((rows - row).float().expand(-1, -1, -1, width), (columns - column).float())


def _with_gloss(draw: Draw, looks: Looks, view: View) -> View:
    """A lamp's reflection: a long bright patch, sharp or soft, whole or broken up by the surface. The truth stays."""
    n = view.size[0]
    away = _away_from_a_point(draw, view)
    longer = _away_from_a_point(draw, view)  # the sum of two distances is the same all along an ellipse
    reach = draw.log_uniform(3.0, 40.0, n, 1, 1, 1) * INPUT_PX_PER_MM
    between = (away + longer).amin((2, 3), keepdim=True)
    edge = draw.log_uniform(1.0, 12.0, n, 1, 1, 1)
    lit = torch.sigmoid((between + reach - away - longer) / edge)
    broken = (rough_noise(draw, view.size, draw.uniform(1.0, 6.0, n)) - draw.uniform(-1.5, 1.0, n, 1, 1, 1)).sigmoid()
    is_broken = draw.chance(0.6, n, 1, 1, 1)
    added = draw.log_uniform(0.03, 1.5, n, 1, 1, 1) * lit * torch.where(is_broken, broken, torch.ones_like(broken))
    logs = torch.log(view.logs.exp() + added * looks.is_glossy * math.exp(_WHITE))
    veil = torch.maximum(view.truth[:, VEILED:], (added > 0.2).float() * looks.is_glossy * view.within)
    return replace(view, logs=logs, truth=torch.cat([view.truth[:, :VEILED], veil], 1))


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
