"""Batches without end, made on the device that trains: windows of faces, turned and in other light and looks.

Faces are kept there whole. Making a batch in worker processes costs 6 ms a face and core, more than training on it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional

from training.segmenter.dataset import WINDOW_PX, Batch, Example, bare_centre
from training.segmenter.fields import Draw, quantiles_where
from training.segmenter.ground import on_grounds, random_grounds
from training.segmenter.looks import in_looks, random_looks, with_additions
from training.segmenter.view import View, changed_where, rows_of
from vision.surface.bare_substrate import DARK_FLOOR
from vision.surface.segmenter_input import UNLABELLED_BRIGHT, USUAL_LOG_LIGHT

#: Share of batches that hold whole faces, and how many of those beside a batch of windows.
WHOLE_SHARE, WHOLE_BATCH = 0.15, 0.2
#: Batches that are made at once.
AT_ONCE = 4
#: How often an example is drawn by what it is: faces drawn without a renderer, own scenes, the second hand's scenes.
SHARES = {"drawn": 0.25, "own": 0.3, "second": 0.45}
#: How often a face is shown as its maker drew it, only in a little other light, turned and mirrored.
AS_DRAWN = 0.5
#: How often light ends at white, as in the pictures that a farm keeps of its faces, and the logarithm of white.
ENDS_AT_WHITE = 0.5
LOG_OF_WHITE = float(np.log(1 + DARK_FLOOR) - USUAL_LOG_LIGHT)
#: How often a labelled face is shown as if it had no label, and one with a bare first photo is given it.
UNLABELLED_TOO, BASELINE_SHARE = 0.25, 0.65
#: How often a face is turned and scaled by a little; spread (natural log) of the scale, with and without a label, whose
#: absence leaves the size to be guessed; spread of the turn, degrees.
_TURNED, _SCALE, _GUESSED_SCALE, _TURN_DEGREES = 0.5, 0.04, 0.13, 4.0
#: Rows and columns of the thinned copy of a face.
_COARSE = 48


@dataclass(frozen=True, eq=False)
class Faces:
    """Examples on a device. light (4, P): half floats, logarithms and detail of all faces' pixels, one face after the
    other, row by row; masks (5, P): bytes, what is inside and the truth. begins (N,): where a face's pixels begin;
    sizes (N, 2): its rows and columns. The other tensors have the face as first dimension; is_drawn, plate and so on
    are 0 or 1.
    """

    light: Tensor
    masks: Tensor
    begins: Tensor
    sizes: Tensor
    coarse_light: Tensor
    coarse_masks: Tensor
    plate: Tensor
    referenced: Tensor
    is_drawn: Tensor
    second: Tensor
    has_baseline: Tensor
    baseline: Tensor
    spread: Tensor
    centre: Tensor

    def __len__(self) -> int:
        return len(self.begins)


def put_on_device(examples: Sequence[Example], device: str) -> Faces:
    """Move examples to a device."""
    light = [np.concatenate([one.logs.transpose(2, 0, 1), one.detail[None]]) for one in examples]
    masks = [np.concatenate([one.within[None], one.truth]) for one in examples]
    sizes = torch.tensor([one.within.shape for one in examples], device=device)

    def numbers(values: Sequence[object]) -> Tensor:
        return torch.from_numpy(np.asarray(values, np.float32)).to(device)

    known = [one.baseline for one in examples]
    return Faces(
        torch.from_numpy(np.concatenate([one.reshape(len(one), -1) for one in light], 1)).to(device),
        torch.from_numpy(np.concatenate([one.reshape(len(one), -1) for one in masks], 1)).to(device),
        sizes.prod(1).cumsum(0) - sizes.prod(1),
        sizes,
        torch.from_numpy(np.stack([_thinned(one) for one in light])).to(device),
        torch.from_numpy(np.stack([_thinned(one) for one in masks])).to(device),
        numbers([one.kind == "plate" for one in examples]),
        numbers([one.referenced for one in examples]),
        numbers([one.fully_labelled for one in examples]),
        numbers([one.hand == "second" for one in examples]),
        numbers([one is not None for one in known]),
        numbers([one.log_rgb if one else (0, 0, 0) for one in known]) - USUAL_LOG_LIGHT,
        numbers([np.mean(one.spread) if one else 0 for one in known]),
        numbers([bare_centre(one) for one in examples]),
    )


def _thinned(planes: NDArray[Any]) -> NDArray[Any]:
    rows, columns = (((np.arange(_COARSE) + 0.5) / _COARSE * side).astype(int) for side in planes.shape[1:])
    return np.asarray(planes[:, rows[:, None], columns])


def batches(
    faces: Faces,
    textures: Tensor,
    size: int,
    seed: int,
    *,
    as_drawn: float = AS_DRAWN,
    shares: Mapping[str, float] = SHARES,
) -> Iterator[Batch]:
    """Batches of windows of ``size`` faces, now and then of whole faces of one kind; shares: see ``SHARES``.

    Several are made at once: a batch takes 7,000 small operations, whose starting costs more than what they do.
    textures: (T, 4, h, w) on the faces' device, see ``draw_texture``.
    """
    device = faces.coarse_light.device
    draw, chance = Draw(seed, device), np.random.default_rng(seed)
    odds = _odds(faces, shares)
    plate = faces.plate.cpu().numpy()
    while True:
        whole = chance.random() < WHOLE_SHARE
        each = max(2, round(WHOLE_BATCH * size)) if whole else size
        chosen = chance.choice(len(odds), AT_ONCE * each, p=odds)
        if whole:
            chosen = chosen[plate[chosen] == plate[chosen[0]]]
        at = torch.from_numpy(chosen).to(device)
        made = make_batch(draw, faces, at, textures, whole=whole, as_drawn=as_drawn)
        yield from parts_of(made, each)


def parts_of(batch: Batch, size: int) -> Iterator[Batch]:
    """A batch in parts of ``size`` faces, the last of what is left; a single face, which has no spread, is left out."""
    tensors = [getattr(batch, one.name).split(size) for one in fields(Batch)]
    yield from (Batch(*part) for part in zip(*tensors, strict=True) if len(part[0]) > 1)


def _odds(faces: Faces, shares: Mapping[str, float]) -> NDArray[np.float64]:
    """How often each face is drawn, (N,), of sum 1, see ``SHARES``."""
    drawn, second = faces.is_drawn.cpu().numpy() > 0, faces.second.cpu().numpy() > 0
    groups = {"drawn": drawn, "own": ~drawn & ~second, "second": second & ~drawn}
    odds = sum(shares[name] * is_in / max(1, is_in.sum()) for name, is_in in groups.items())
    return np.asarray(odds / np.sum(odds), np.float64)


def make_batch(
    draw: Draw, faces: Faces, at: Tensor, textures: Tensor, *, whole: bool, as_drawn: float = AS_DRAWN
) -> Batch:
    """One batch of the faces of numbers ``at``. With and without a label, with and without the bare first photo.

    as_drawn: share of faces that are shown as their maker drew them, 0-1.
    """
    n = len(at)
    fine, is_all = _windows(draw, faces, at, whole=whole)
    coarse = _coarse(faces, at)
    plate, is_drawn = faces.plate[at], faces.is_drawn[at]
    stays = draw.chance(as_drawn, n)
    referenced = faces.referenced[at] * (stays | ~draw.chance(UNLABELLED_TOO, n))
    first = faces.has_baseline[at] * referenced * draw.chance(BASELINE_SHARE, n)
    grounds = random_grounds(draw, faces.centre[at], plate, stays | (is_drawn > 0), len(textures))
    looks = random_looks(draw, referenced)
    spread, cast = torch.where(referenced > 0, 0.08, 0.4), torch.where(referenced > 0, 0.02, 0.12)

    def other_light() -> Tensor:
        return spread[:, None] * draw.normal(n, 1) + cast[:, None] * draw.normal(n, 3)

    shift = other_light()

    def in_other_looks(view: View, at: Tensor) -> View:
        return in_looks(draw, rows_of(looks, at), on_grounds(rows_of(grounds, at), textures, view))

    coarse, fine = (_lit(changed_where(~stays, one, in_other_looks), shift) for one in (coarse, fine))
    fine = _turned(draw, with_additions(draw, stays, fine), plate, referenced)
    values, seen = _points_of_whole(coarse, fine, is_all)
    gain = _exposure_gain(values, seen, referenced)
    values, logs = _in_exposure(values, gain[:, None, None]), _in_exposure(fine.logs, gain.view(-1, 1, 1, 1))
    logs = torch.where(draw.chance(ENDS_AT_WHITE, n, 1, 1, 1), logs.clamp_max(LOG_OF_WHITE), logs)
    bare = faces.baseline[at] + shift + grounds.shift.view(n, 3) + other_light()
    quantiles = quantiles_where(values, seen, (0.1, 0.5, 0.9)).flatten(1)
    facts = torch.cat(
        [quantiles, first[:, None] * torch.cat([bare, faces.spread[at][:, None]], 1), first[:, None],
         referenced[:, None], plate[:, None]], 1,
    )  # fmt: skip
    inside = (fine.within > 0).float()
    relative = (logs - bare.view(n, 3, 1, 1)) * inside * first.view(n, 1, 1, 1)
    planes = torch.cat([logs * inside, fine.detail, fine.within, relative], 1)
    return Batch(planes, facts[:, :, None, None], fine.truth, fine.within[:, 0], is_drawn, faces.second[at])


def _windows(draw: Draw, faces: Faces, at: Tensor, *, whole: bool) -> tuple[View, Tensor]:
    """A window of each face, zeros beyond its border, and which windows hold all of their face (N,)."""
    sizes = faces.sizes[at]
    height, width = sizes.amax(0).tolist() if whole else (WINDOW_PX, WINDOW_PX)
    side = torch.tensor([height, width], device=draw.device)
    corner = draw.below((sizes - side).clamp_min(0) + 1)
    rows = corner[:, :1] + torch.arange(height, device=draw.device)
    columns = corner[:, 1:] + torch.arange(width, device=draw.device)
    known = (rows < sizes[:, :1])[:, :, None] & (columns < sizes[:, 1:])[:, None]
    flat = faces.begins[at].view(-1, 1, 1) + rows[:, :, None] * sizes[:, 1].view(-1, 1, 1) + columns[:, None]
    flat = torch.where(known, flat, 0)
    light = torch.where(known, faces.light[:, flat], 0).float().transpose(0, 1).contiguous()
    masks = torch.where(known, faces.masks[:, flat], 0).float().transpose(0, 1).contiguous() / 255
    down, across = (steps / (sizes[:, axis : axis + 1] / 2) - 1 for axis, steps in enumerate((rows, columns)))
    place = torch.stack([across[:, None].expand(-1, height, -1), down[:, :, None].expand(-1, -1, width)], -1)
    return View(light[:, :3], light[:, 3:], masks[:, :1], masks[:, 1:], place), (sizes <= side).all(1)


def _coarse(faces: Faces, at: Tensor) -> View:
    light, masks = faces.coarse_light[at].float(), faces.coarse_masks[at].float() / 255
    steps = (torch.arange(_COARSE, device=light.device) + 0.5) / (_COARSE / 2) - 1
    place = torch.stack(torch.meshgrid(steps, steps, indexing="xy"), -1).expand(len(at), -1, -1, -1)
    return View(light[:, :3], light[:, 3:], masks[:, :1], masks[:, 1:], place, is_coarse=True)


def _lit(view: View, shift: Tensor) -> View:
    logs = (view.logs + shift[:, :, None, None]) * (view.within > 0)
    return View(logs, view.detail, view.within, view.truth, view.place, view.is_coarse)


def _turned(draw: Draw, view: View, plate: Tensor, referenced: Tensor) -> View:
    """Faces mirrored, and some turned and scaled by a little; a dish may lie in any direction."""
    n, height, width = view.size
    free = draw.chance(_TURNED, n)
    spread = torch.where(referenced > 0, _SCALE * free, _GUESSED_SCALE)
    scale = torch.exp(-spread * draw.normal(n))
    degrees = _TURN_DEGREES * draw.normal(n) + plate * draw.uniform(-180, 180, n)
    angle = torch.deg2rad(degrees * free)
    across, down = (1 - 2 * draw.chance(share, n).float() for share in (0.5, 0.3))
    cos, sin, nothing = torch.cos(angle) * scale, torch.sin(angle) * scale, torch.zeros(n, device=draw.device)
    ratio = height / width
    turn = torch.stack([
        torch.stack([cos * across, -sin * down * ratio, nothing], 1),
        torch.stack([sin * across / ratio, cos * down, nothing], 1),
    ], 1)  # fmt: skip
    places = functional.affine_grid(turn, [n, 1, height, width], align_corners=False)
    planes = torch.cat([view.logs * view.within, view.detail * view.within, view.within, view.truth], 1)
    moved = functional.grid_sample(planes, places, mode="bilinear", padding_mode="zeros", align_corners=False)
    within = moved[:, 4:5]
    seen = within > 0.5
    light = torch.where(seen, moved[:, :4] / within.clamp_min(1e-3), 0.0)
    return View(light[:, :3], light[:, 3:], within * seen, moved[:, 5:].clamp(0, 1) * seen, view.place)


def _points_of_whole(coarse: View, fine: View, is_all: Tensor) -> tuple[Tensor, Tensor]:
    """Points that tell of the whole face, logarithms (N, 3, P) and which lie inside (N, P).

    From the window where it holds all of the face, for what was put on it shows there; else from the thinned copy.
    """
    values = torch.where(is_all[:, None, None, None], _thinned_view(fine.logs), coarse.logs)
    within = torch.where(is_all[:, None, None, None], _thinned_view(fine.within), coarse.within)
    return values.flatten(2), within.flatten(1) > 0


def _thinned_view(planes: Tensor) -> Tensor:
    rows, columns = ((torch.arange(_COARSE, device=planes.device) + 0.5) / _COARSE * n for n in planes.shape[2:])
    return planes[:, :, rows.long()[:, None], columns.long()]


def _exposure_gain(values: Tensor, seen: Tensor, referenced: Tensor) -> Tensor:
    """Factor (N,) on the light that brings a face without a label to the one exposure; 1 for the others."""
    bright = quantiles_where(values[:, 1:2], seen, (0.9,)).flatten()
    light = torch.exp(bright + USUAL_LOG_LIGHT) - DARK_FLOOR
    return torch.where(referenced > 0, 1.0, UNLABELLED_BRIGHT / light.clamp_min(1e-3))


def _in_exposure(logs: Tensor, gain: Tensor) -> Tensor:
    light = (torch.exp(logs + USUAL_LOG_LIGHT) - DARK_FLOOR).clamp_min(0) * gain
    return torch.log(light + DARK_FLOOR) - USUAL_LOG_LIGHT
