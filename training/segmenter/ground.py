"""Another substrate under the same growth. Scenes have few substrates; this makes many."""

import math
from dataclasses import dataclass, replace

import torch
from torch import Tensor

from training.segmenter.fields import Draw, box, gaussian
from training.segmenter.view import COLONISED, CONTAMINATED, COVERED, View
from vision.surface.segmenter_input import INPUT_PX_PER_MM

#: How often the substrate is changed at all, how often to a colour of its own, and how often to another texture.
_CHANGED, _RECOLOURED, _TEXTURED = 0.6, 0.3, 0.6
#: Width over which light is told from texture, mm; what stands out more than this (natural log) is a reflection.
_LIGHT_MM, _OWN_TEXTURE = 25.0, 1.2
_WHITE = 1.5


@dataclass(frozen=True, eq=False)
class Grounds:
    """Substrates of a batch: the bare parts' logarithms moved by ``shift`` (N, 3, 1, 1) and spread from ``centre`` by
    ``contrast``, or a texture in place of their own (which: (N,), its number; corner: (N, 2), row and column).
    """

    centre: Tensor
    shift: Tensor
    contrast: Tensor
    is_textured: Tensor
    which: Tensor
    corner: Tensor


def random_grounds(draw: Draw, centre: Tensor, plate: Tensor, stays: Tensor, n_textures: int) -> Grounds:
    """Draw substrates. centre (N, 3): bare substrate of each face; plate, stays (N,): true where it stays as it is.

    Agar may have any colour, clear, white or dyed; a substrate that has a texture seldom gets a colour of its own.
    """
    n = len(centre)
    middle = centre.view(n, 3, 1, 1)
    bright = middle.mean(1, keepdim=True) > -0.5
    luminance = torch.where(bright, draw.uniform(-0.8, 0.5, n, 1, 1, 1), draw.uniform(-0.6, 1.3, n, 1, 1, 1))
    tint = torch.tensor([1.0, 0.0, -1.0], device=draw.device).view(1, 3, 1, 1)
    side = torch.tensor([0.0, 1.0, 0.0], device=draw.device).view(1, 3, 1, 1)
    shift = luminance + 0.15 * draw.normal(n, 1, 1, 1) * tint + 0.05 * draw.normal(n, 1, 1, 1) * side
    dyed = draw.chance(0.4, n, 1, 1, 1)
    target = draw.log_uniform(0.03, 0.85, n, 1, 1, 1).log() + _WHITE
    target = target + torch.where(dyed, 0.5, 0.08) * draw.normal(n, 3, 1, 1)
    is_plate = plate.view(n, 1, 1, 1) > 0
    recoloured = draw.chance(_RECOLOURED, n, 1, 1, 1) & (is_plate | draw.chance(0.4, n, 1, 1, 1))
    changed = draw.chance(_CHANGED, n, 1, 1, 1) & ~stays.view(n, 1, 1, 1)
    textured = changed & ~is_plate & draw.chance(_TEXTURED, n, 1, 1, 1)
    return Grounds(
        middle,
        torch.where(changed, torch.where(recoloured, target - middle, shift), 0.0),
        torch.where(changed, (0.25 * draw.normal(n, 1, 1, 1) - 0.1).exp(), 1.0),
        textured,
        draw.below(torch.full((n,), n_textures, device=draw.device)),
        draw.below(torch.full((n, 2), 400, device=draw.device)),
    )


def on_grounds(grounds: Grounds, textures: Tensor, view: View) -> View:
    """The faces with their substrates changed; textures (T, 4, h, w): logarithms of median 0, and detail."""
    covered = view.truth[:, [COLONISED, CONTAMINATED, COVERED]].sum(1, keepdim=True).clamp(0, 1)
    bare = 1 - (covered if view.is_coarse else gaussian(covered, 2.0))
    logs, detail = _retextured(grounds, textures, view, bare)
    logs = torch.where(grounds.is_textured, logs, view.logs)
    detail = torch.where(grounds.is_textured, detail, view.detail)
    more = grounds.contrast - 1
    logs = logs + bare * (grounds.shift + more * (logs - grounds.centre))
    seen = (view.within > 0).float()
    return replace(view, logs=logs * seen, detail=detail * (1 + bare * more) * seen)


def _retextured(grounds: Grounds, textures: Tensor, view: View, bare: Tensor) -> tuple[Tensor, Tensor]:
    """Logarithms and detail with the bare parts' own texture taken out and another laid in, under light and growth.

    What is left of a bare point is its light (the mean of what is bare around it) and what a reflection adds.
    """
    _, height, width = view.size
    rows = _mirrored(grounds.corner[:, :1] + torch.arange(height, device=bare.device), textures.shape[2])
    columns = _mirrored(grounds.corner[:, 1:] + torch.arange(width, device=bare.device), textures.shape[3])
    fresh = textures[grounds.which[:, None, None], :, rows[:, :, None], columns[:, None, :]].permute(0, 3, 1, 2).float()
    side = 5 if view.is_coarse else max(3, round(_LIGHT_MM * INPUT_PX_PER_MM) | 1)
    weight = bare**4 * (view.within > 0)
    known = box(weight, side)
    around = box(view.logs * weight, side) / known.clamp_min(1e-3)
    own = torch.exp(torch.where(known > 0.02, around, grounds.centre))
    light = view.logs.exp()
    reflected = (light - own * math.exp(_OWN_TEXTURE)).clamp_min(0) * bare
    grown = (light - bare * own).clamp_min(0) * (1 - bare**3)
    mixed = torch.log((grown + bare * own * fresh[:, :3].exp() + reflected).clamp_min(1e-3))
    return mixed, view.detail * (1 - bare) + fresh[:, 3:] * bare


def _mirrored(places: Tensor, size: int) -> Tensor:
    folded = places % (2 * size)
    return torch.where(folded < size, folded, 2 * size - 1 - folded)
