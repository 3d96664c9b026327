"""Moulds of any look put on faces of a batch: powder, felt with a pale margin, specks, wisps, rings, spots, stains.

What each look is made of is common practice, no source: a colony is felt first, its pigment comes in the middle later.
"""

import math
from dataclasses import replace

import torch
from torch import Tensor

from training.segmenter.fields import Draw, gaussian, mean_where, rough_noise, smooth_noise
from training.segmenter.view import COLOURED, WHITE, View, away_from_a_point
from vision.surface.segmenter_input import INPUT_PX_PER_MM

#: Radius of a colony, mm, of one in five that has spread, and of a field of spots; widths of the pale felt around its
#: pigment, mm, and how often there is one.
_RADIUS_MM, _SPREAD_MM, _FIELD_MM, _IS_SPREAD = (3.0, 28.0), (20.0, 120.0), (12.0, 80.0), 0.2
_MARGIN_MM, _HAS_MARGIN = (1.0, 7.0), 0.4
#: How often a mould is a stain in the substrate's own texture, not a layer over it.
_STAIN = 0.2
#: How often only islands of it are there, and how often many small spots instead; how far apart and how wide these, mm.
_ISLANDS, _SPOTS, _SPOTS_APART_MM, _SPOT_MM = 0.12, 0.25, (4.0, 25.0), (1.5, 8.0)
#: How often there is felt between specks or rings too, and contrast finer than a pixel of a mould's own.
_FELT_BETWEEN, _OWN_DETAIL = 0.5, (0.02, 0.35)
#: How often it has no hue, from grey to black.
_GREY = 0.4
#: A mould that changes the picture by less than this (mean, natural logarithm) teaches nothing and is left out.
_HARDLY_SEEN = 0.25


def mould_colours(draw: Draw, n: int) -> Tensor:
    """Colours that a mould could have (n, 3, 1, 1), as logarithms: any hue, or grey to black."""
    level = draw.uniform(0.03, 0.7, n, 1, 1, 1).log() + WHITE
    grey = draw.log_uniform(0.01, 0.25, n, 1, 1, 1).log() + WHITE
    turn = 2 * torch.pi / 3 * torch.arange(3, device=draw.device).view(1, 3, 1, 1)
    wheel = torch.cos(draw.uniform(0, 2 * torch.pi, n, 1, 1, 1) - turn)
    hue = level + 0.6 * draw.uniform(0.4, 1.4, n, 1, 1, 1) * wheel
    return torch.where(draw.chance(_GREY, n, 1, 1, 1), grey.expand(-1, 3, -1, -1), hue)


def with_mould(draw: Draw, is_put: Tensor, view: View) -> View:
    """A mould of any form and colour on a part of the faces where ``is_put`` (N, 1, 1, 1), on growth or bare ground.

    All of it counts as contaminated, its pale margin too; as coloured only what has its colour.
    """
    n = view.size[0]
    parted = draw.uniform(0, 1, n, 1, 1, 1)
    is_spread = draw.chance(_IS_SPREAD, n, 1, 1, 1)
    radius = torch.where(
        is_spread, draw.log_uniform(*_SPREAD_MM, n, 1, 1, 1), draw.log_uniform(*_RADIUS_MM, n, 1, 1, 1)
    )
    radius = torch.where(parted < _SPOTS, draw.log_uniform(*_FIELD_MM, n, 1, 1, 1), radius) * INPUT_PX_PER_MM
    away = away_from_a_point(draw, view) + 0.25 * radius * smooth_noise(draw, view.size, radius.view(-1) / 2)
    soft = draw.uniform(0.7, 3.0, n, 1, 1, 1)
    patch = ((radius - away) / soft + 0.5).clamp(0, 1) * (view.within > 0)
    patch = patch * is_put * _islands(draw, view.size, parted)
    margin = draw.uniform(*_MARGIN_MM, n, 1, 1, 1) * INPUT_PX_PER_MM * draw.chance(_HAS_MARGIN, n, 1, 1, 1)
    pigment = ((radius - margin - away) / (soft + 0.5 * margin) + 0.5).clamp(0, 1)
    pigment = torch.where(margin < radius, pigment, torch.ones_like(pigment))
    change, opacity = _layer(draw, view, pigment, radius, away)
    stain = draw.chance(_STAIN, n, 1, 1, 1)
    change = patch * torch.where(stain, _stain(draw, view), change)
    own_detail = draw.log_uniform(*_OWN_DETAIL, n, 1, 1, 1)
    covered = patch * torch.where(stain, 0.0, opacity)
    core = (patch > 0.5).float()
    is_seen = (mean_where(change.abs().mean(1, keepdim=True), core) > _HARDLY_SEEN).float()
    told = patch * is_seen
    colonised, contaminated, coloured, *rest = view.truth.split(1, dim=1)
    tinted = told * torch.where(stain, torch.ones_like(pigment), (pigment > 0.3).float()) * view.within
    truth = torch.cat([
        colonised * (1 - told), torch.maximum(contaminated, told * view.within),
        torch.maximum(coloured * (1 - told), tinted), *rest,
    ], 1)  # fmt: skip
    detail = view.detail + covered * is_seen * (own_detail - view.detail)
    return replace(view, logs=view.logs + change * is_seen, detail=detail, truth=truth)


def tinted_moulds(colour: Tensor, strength: Tensor, view: View) -> View:
    """The coloured parts brought to another colour (N, 3, 1, 1) by a strength of 0 to 1, their own texture kept."""
    share = view.truth[:, COLOURED : COLOURED + 1]
    middle = mean_where(view.logs, share)
    return replace(view, logs=view.logs + share * strength * (colour - middle))


def _layer(draw: Draw, view: View, pigment: Tensor, radius: Tensor, away: Tensor) -> tuple[Tensor, Tensor]:
    """What felt and pigment laid over the face change of its logarithms (N, 3, h, w), and how much of it they cover."""
    n = view.size[0]
    felt = draw.uniform(0.3, 0.75, n, 1, 1, 1).log() + WHITE + 0.06 * draw.normal(n, 3, 1, 1)
    colour = felt + pigment * (mould_colours(draw, n) - felt)
    texture = draw.uniform(0.03, 0.3, n, 1, 1, 1) * rough_noise(draw, view.size, draw.uniform(1.0, 4.0, n))
    relief = draw.uniform(0.0, 0.5, n, 1, 1, 1) * (view.logs - gaussian(view.logs, 4.0))
    form = draw.uniform(0.7, 1.0, n, 1, 1, 1) * _form(draw, view.size, radius, away)
    # Between specks or rings the felt may cover too.
    between = draw.uniform(0.2, 0.95, n, 1, 1, 1) * draw.chance(_FELT_BETWEEN, n, 1, 1, 1)
    change = form * (colour + texture + relief - view.logs)
    change = change + (1 - form) * between * (felt + texture + relief - view.logs)
    return change, form + (1 - form) * between


def _form(draw: Draw, size: tuple[int, int, int], radius: Tensor, away: Tensor) -> Tensor:
    """How much of each point a mould covers within its outline: all of it, specks or threads with gaps, or rings."""
    n = size[0]
    fine = rough_noise(draw, size, draw.uniform(1.0, 5.0, n))
    specks = ((fine - draw.uniform(-0.5, 1.2, n, 1, 1, 1)) / 0.15 + 0.5).clamp(0, 1)
    wisps = draw.uniform(0.4, 0.9, n, 1, 1, 1) * ((fine - draw.uniform(-1.2, 0.3, n, 1, 1, 1)) / 1.2 + 0.5).clamp(0, 1)
    period = draw.uniform(0.25, 0.9, n, 1, 1, 1) * radius
    rings = (0.5 + 0.5 * torch.cos(2 * math.pi * away / period)).clamp_min(0.15)
    which = draw.uniform(0, 1, n, 1, 1, 1)
    whole = torch.ones_like(rings)
    return torch.where(which < 0.25, specks, torch.where(which < 0.4, wisps, torch.where(which < 0.5, rings, whole)))


def _islands(draw: Draw, size: tuple[int, int, int], parted: Tensor) -> Tensor:
    """1 where the outline's parts lie: mostly everywhere, else islands or many small spots, (N, 1, h, w).

    parted: 0-1 (N, 1, 1, 1), below ``_SPOTS`` spots, below that and ``_ISLANDS`` islands.
    """
    n = size[0]
    noise = smooth_noise(draw, size, draw.uniform(2.0, 8.0, n) * INPUT_PX_PER_MM)
    some = ((noise - draw.uniform(0.3, 1.0, n, 1, 1, 1)) / 0.1 + 0.5).clamp(0, 1)
    some = torch.where(parted < _SPOTS, _spots(draw, size), some)
    return torch.where(parted < _SPOTS + _ISLANDS, some, torch.ones_like(some))


def _spots(draw: Draw, size: tuple[int, int, int]) -> Tensor:
    """1 in round spots of many sizes, about as far apart as they please, some of them missing, (N, 1, h, w)."""
    n, height, width = size
    apart = draw.uniform(*_SPOTS_APART_MM, n, 1, 1, 1) * INPUT_PX_PER_MM
    radius = 0.5 * draw.log_uniform(*_SPOT_MM, n, 1, 1, 1) * INPUT_PX_PER_MM
    radius = radius * (0.35 * smooth_noise(draw, size, apart.view(-1))).exp()
    moved = 0.35 * apart  # each from the middle of its square of a grid
    rows = torch.arange(height, device=draw.device).view(1, 1, -1, 1) + moved * smooth_noise(draw, size, apart.view(-1))
    columns = torch.arange(width, device=draw.device) + moved * smooth_noise(draw, size, apart.view(-1))
    away = torch.hypot(*((torch.remainder(steps / apart, 1.0) - 0.5) * apart for steps in (rows, columns)))
    some = smooth_noise(draw, size, 1.5 * apart.view(-1)) > draw.uniform(-1.5, 0.5, n, 1, 1, 1)
    return ((radius - away) / 0.7 + 0.5).clamp(0, 1) * some


def _stain(draw: Draw, view: View) -> Tensor:
    """What coloured water in the substrate changes: light is lost, more of one colour; texture and gloss stay."""
    n = view.size[0]
    lost = draw.uniform(0.1, 1.2, n, 1, 1, 1) * (1 + 0.8 * draw.normal(n, 3, 1, 1)).clamp_min(0)
    smoothed = draw.uniform(0.0, 0.6, n, 1, 1, 1) * (gaussian(view.logs, 1.5) - view.logs)
    return smoothed - lost
