"""What looks like a mould or like growth and is neither: lamps' reflections, writing, tape and stickers, tinged growth.

The truth stays as it was, but that what is hidden counts as veiled, and what tape lies on as covered.
"""

import math
from dataclasses import replace

import torch
from torch import Tensor

from training.segmenter.fields import Draw, gaussian, rough_noise, smooth_noise
from training.segmenter.view import COLONISED, COVERED, VEILED, WHITE, View, away_from_a_point
from vision.surface.segmenter_input import INPUT_PX_PER_MM

#: Strokes of a pen on a face, and their width, length of one stroke, mm.
_STROKES, _PEN_MM, _STROKE_MM = 9, (0.4, 1.6), (4.0, 22.0)
#: Reach and soft edge of a lamp's reflection: from glitter to the glare of a ceiling on film; mm, and px.
_REACH_MM, _EDGE_PX = (5.0, 120.0), (1.0, 40.0)
#: Sides of a piece of tape or a sticker, mm.
_TAPE_MM = (8.0, 70.0), (6.0, 30.0)


def with_gloss(draw: Draw, is_glossy: Tensor, view: View) -> View:
    """A lamp's reflection: a long bright patch, sharp or soft, whole or broken up by the surface."""
    n = view.size[0]
    away = away_from_a_point(draw, view)
    longer = away_from_a_point(draw, view)  # the sum of two distances is the same all along an ellipse
    reach = draw.log_uniform(*_REACH_MM, n, 1, 1, 1) * INPUT_PX_PER_MM
    between = (away + longer).amin((2, 3), keepdim=True)
    edge = draw.log_uniform(*_EDGE_PX, n, 1, 1, 1)
    lit = torch.sigmoid((between + reach - away - longer) / edge)
    broken = (rough_noise(draw, view.size, draw.uniform(1.0, 6.0, n)) - draw.uniform(-1.5, 1.0, n, 1, 1, 1)).sigmoid()
    is_broken = draw.chance(0.6, n, 1, 1, 1)
    added = draw.log_uniform(0.03, 1.5, n, 1, 1, 1) * lit * torch.where(is_broken, broken, torch.ones_like(broken))
    tint = (0.15 * draw.normal(n, 3, 1, 1)).exp()
    logs = torch.log(view.logs.exp() + tint * added * is_glossy * math.exp(WHITE))
    return _veiled(replace(view, logs=logs), (added > 0.2).float() * is_glossy)


def with_writing(draw: Draw, is_written: Tensor, view: View) -> View:
    """Strokes of a marker, dark and of any colour, seldom white; what lies under them is not known."""
    n, height, width = view.size
    rows = torch.arange(height, device=draw.device).view(1, 1, -1, 1)
    columns = torch.arange(width, device=draw.device).view(1, 1, 1, -1)
    row = draw.uniform(0.1, 0.9, n, 1, 1, 1) * height
    column = draw.uniform(0.1, 0.9, n, 1, 1, 1) * width
    near = torch.full((n, 1, height, width), torch.inf, device=draw.device)
    for _ in range(_STROKES):
        long = draw.uniform(*_STROKE_MM, n, 1, 1, 1) * INPUT_PX_PER_MM
        turn = draw.uniform(0, 2 * math.pi, n, 1, 1, 1)
        down, right = long * torch.sin(turn), long * torch.cos(turn)
        along = (((rows - row) * down + (columns - column) * right) / (long * long)).clamp(0, 1)
        near = torch.minimum(near, torch.hypot(rows - row - along * down, columns - column - along * right))
        apart = draw.chance(0.4, n, 1, 1, 1) * 6.0 * INPUT_PX_PER_MM  # the pen is lifted and set down a little further
        row, column = row + down + 0.3 * apart * draw.normal(n, 1, 1, 1), column + right + apart
    pen = draw.uniform(*_PEN_MM, n, 1, 1, 1) * INPUT_PX_PER_MM
    ink = ((0.5 * pen - near) + 0.5).clamp(0, 1) * is_written
    dark = draw.log_uniform(0.01, 0.12, n, 1, 1, 1).log() + draw.uniform(0.0, 0.8, n, 1, 1, 1) * draw.normal(n, 3, 1, 1)
    pale = draw.uniform(0.5, 0.9, n, 1, 1, 1).log().expand(-1, 3, -1, -1)
    colour = WHITE + torch.where(draw.chance(0.1, n, 1, 1, 1), pale, dark).clamp_max(0.0)
    opacity = ink * draw.uniform(0.75, 1.0, n, 1, 1, 1)
    return _veiled(replace(view, logs=view.logs + opacity * (colour - view.logs)), (ink > 0.4).float())


def with_tape(draw: Draw, is_taped: Tensor, view: View) -> View:
    """A piece of tape or a sticker: straight edges, smooth, mostly white or pale, some coloured or half clear."""
    n, height, width = view.size
    at = away_from_a_point(draw, view).flatten(1).argmin(1).view(n, 1, 1, 1)
    down = torch.arange(height, device=draw.device).view(1, 1, -1, 1) - at // width
    right = torch.arange(width, device=draw.device).view(1, 1, 1, -1) - at % width
    turn = 0.2 * draw.normal(n, 1, 1, 1) + draw.chance(0.2, n, 1, 1, 1) * draw.uniform(0, math.pi, n, 1, 1, 1)
    along = right * torch.cos(turn) + down * torch.sin(turn)
    across = down * torch.cos(turn) - right * torch.sin(turn)
    long, wide = (0.5 * draw.log_uniform(*side, n, 1, 1, 1) * INPUT_PX_PER_MM for side in _TAPE_MM)
    inside = torch.minimum(long - along.abs(), wide - across.abs())
    piece = (inside / draw.uniform(0.5, 1.5, n, 1, 1, 1) + 0.5).clamp(0, 1) * is_taped
    pale = draw.uniform(0.45, 0.95, n, 1, 1, 1).log() + 0.04 * draw.normal(n, 3, 1, 1)
    colour = draw.log_uniform(0.03, 0.6, n, 1, 1, 1).log() + 0.6 * draw.normal(n, 3, 1, 1)
    colour = WHITE + torch.where(draw.chance(0.7, n, 1, 1, 1), pale, colour).clamp_max(0.0)
    colour = colour + 0.1 * smooth_noise(draw, view.size, draw.uniform(10.0, 40.0, n))
    opacity = piece * torch.where(draw.chance(0.25, n, 1, 1, 1), draw.uniform(0.3, 0.8, n, 1, 1, 1), 1.0)
    logs = view.logs + opacity * (colour - view.logs)
    taped = (piece > 0.4).float() * view.within
    truth = torch.cat([view.truth[:, :COVERED] * (1 - taped), torch.maximum(view.truth[:, COVERED:], taped)], 1)
    return replace(view, logs=logs, detail=view.detail * (1 - 0.9 * opacity), truth=truth)


def with_tinge(draw: Draw, is_tinged: Tensor, view: View) -> View:
    """Old growth that has turned a little yellow, brown, blue or grey here and there, its texture kept."""
    n = view.size[0]
    grown = gaussian(view.truth[:, COLONISED : COLONISED + 1], 1.5)
    cloud = smooth_noise(draw, view.size, draw.log_uniform(4.0, 25.0, n) * INPUT_PX_PER_MM)
    some = ((cloud - draw.uniform(-0.8, 1.2, n, 1, 1, 1)) / draw.uniform(0.3, 1.2, n, 1, 1, 1) + 0.5).clamp(0, 1)
    warm = torch.tensor([-0.05, -0.25, -0.8], device=draw.device).view(1, 3, 1, 1)
    brown = torch.tensor([-0.5, -0.9, -1.4], device=draw.device).view(1, 3, 1, 1)
    blue = torch.tensor([-0.6, -0.35, -0.1], device=draw.device).view(1, 3, 1, 1)
    grey = torch.tensor([-0.5, -0.5, -0.5], device=draw.device).view(1, 3, 1, 1)
    kinds = torch.stack([warm, brown, blue, grey])[draw.below(torch.full((n,), 4, device=draw.device)), 0]
    strength = draw.uniform(0.1, 0.9, n, 1, 1, 1) * is_tinged
    return replace(view, logs=view.logs + strength * some * grown * (kinds + 0.08 * draw.normal(n, 3, 1, 1)))


def _veiled(view: View, share: Tensor) -> View:
    veil = torch.maximum(view.truth[:, VEILED:COVERED], share * view.within)
    return replace(view, truth=torch.cat([view.truth[:, :VEILED], veil, view.truth[:, COVERED:]], 1))
