"""Examples to train on and to be judged by: planes of a face, what is known of it, and its truth."""

from dataclasses import dataclass, replace
from typing import Any, Literal

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from calibration import vessel_kinds
from training.segmenter.exposure import exposure_gain, in_other_exposure
from training.segmenter.faces import DrawnFace
from training.segmenter.looks import random_look
from training.segmenter.noise import Rng
from training.segmenter.scenes import SceneFace
from training.segmenter.substrates import PX_PER_MM
from training.segmenter.textures import Texture, any_texture
from vision.surface.bare_substrate import Baseline, learn_baseline, log_light
from vision.surface.segmenter_input import (
    INPUT_PX_PER_MM,
    PLANES,
    FacePlanes,
    face_facts,
    face_planes,
    pad_planes,
    stack_planes,
)

#: Whose drawing a face is: this project's own (drawn or rendered), or the second maker's.
Hand = Literal["own", "second"]
#: How often a labelled face is shown as if it had no label.
UNLABELLED_TOO = 0.25
#: Spread (natural log) of the scale of a face without a label, whose size is guessed.
_GUESSED_SCALE = 0.13
#: How often a painted face of a scene gets another texture too.
TEXTURE_SHARE = 0.6
#: Width over which light is told from texture, mm; what stands out more than this (natural log) is a reflection.
_LIGHT_MM, _OWN_TEXTURE = 25.0, 1.2
#: Planes of the truth: shares of each pixel that are colonised, contaminated, coloured, veiled.
#: Side of the windows of faces that are learned from, px of the planes.
WINDOW_PX = 160
TRUTHS = ("colonised", "contaminated", "coloured", "veiled")


@dataclass(frozen=True, eq=False)
class Example:
    """One face for the network, held small: half floats, and truth as shares in bytes, (4, h, w).

    fully_labelled: whether the truth of ``veiled`` is known as well. hand: whose drawing it is.
    """

    kind: str
    referenced: bool
    logs: NDArray[np.float16]
    detail: NDArray[np.float16]
    within: NDArray[np.uint8]
    truth: NDArray[np.uint8]
    baseline: Baseline | None
    fully_labelled: bool
    hand: Hand = "own"


@dataclass(frozen=True, eq=False)
class Batch:
    """Tensors of several examples padded to one size. second: 1 where the second hand drew the face, else 0."""

    planes: Tensor
    facts: Tensor
    truth: Tensor
    within: Tensor
    fully_labelled: Tensor
    second: Tensor


def drawn_example(face: DrawnFace) -> Example:
    """Make an example of a drawn face, at the scale at which the program cuts a face out of a photo."""
    px_per_mm = min(PX_PER_MM, vessel_kinds()[face.kind].face_px_per_mm)
    size = tuple(round(side * px_per_mm / PX_PER_MM) for side in face.inside.shape[::-1])

    def seen(plane: NDArray[Any]) -> NDArray[Any]:
        small = cv2.resize(plane.astype(np.float32), size, interpolation=cv2.INTER_AREA)
        return small > 0.5 if plane.dtype == np.bool_ else small

    inside = seen(face.inside)
    baseline = None
    if face.bare_rgb is not None:
        baseline = learn_baseline(seen(face.bare_rgb), inside, referenced=face.referenced)
    truth = tuple(seen(plane) for plane in (face.colonised, face.contaminated, face.coloured, face.veiled))
    return _example(seen(face.linear_rgb), inside, px_per_mm, face.kind, face.referenced, baseline, truth, True)


def scene_example(face: SceneFace, hand: Hand = "own") -> Example:
    """Make an example of a face from a scene; what shows colour is judged here, what is veiled is not known."""
    contaminated = face.classes == 3
    truth = (face.classes == 2, contaminated, contaminated & _tinted(face), np.zeros_like(contaminated))
    example = _example(
        face.linear_rgb, face.inside, face.px_per_mm, face.kind, face.referenced, face.baseline, truth, False
    )
    return replace(example, hand=hand)


#: Distance from the hue of mycelium, in logarithms of colour ratios, above which contamination counts as coloured. At
#: this value the areas agree with those that the scenes' truth tells of green moulds (within 5 % from 1 cm2 on).
TINTED_ABOVE = 0.15
#: Black and grey moulds have no hue: they count as coloured where they are darker than mycelium by this much (natural
#: log). A pale margin is darker by 0.1; grey powder by 1.3.
DARKER_BY = 0.6


def _tinted(face: SceneFace) -> NDArray[np.bool_]:
    """Where colour, smoothed over 2 mm, differs from that of the mycelium; everywhere where there is none."""
    mycelium = face.classes == 2
    if mycelium.sum() < 200:
        return np.ones(mycelium.shape, np.bool_)
    side = round(2 * face.px_per_mm) | 1
    red, green, blue = cv2.split(log_light(cv2.blur(face.linear_rgb, (side, side))))
    ratios = np.dstack([green - red, blue - green])
    hue = np.linalg.norm(ratios - np.median(ratios[mycelium], axis=0), axis=2) > TINTED_ABOVE
    return np.asarray(hue | (green < np.median(green[mycelium]) - DARKER_BY))


def _example(
    linear_rgb: NDArray[np.float32],
    inside: NDArray[np.bool_],
    px_per_mm: float,
    kind: str,
    referenced: bool,
    baseline: Baseline | None,
    truth: tuple[NDArray[np.bool_], ...],
    fully_labelled: bool,
) -> Example:
    planes = face_planes(linear_rgb, inside, px_per_mm)
    size = planes.within.shape[::-1]
    shares = [cv2.resize((t & inside).astype(np.float32), size, interpolation=cv2.INTER_AREA) for t in truth]
    return Example(
        kind,
        referenced,
        planes.logs.astype(np.float16),
        planes.detail.astype(np.float16),
        (255 * planes.within).astype(np.uint8),
        (255 * np.stack(shares)).astype(np.uint8),
        baseline,
        fully_labelled,
    )


def planes_of(example: Example) -> FacePlanes:
    """Give back the planes of an example."""
    return FacePlanes(
        example.logs.astype(np.float32), example.detail.astype(np.float32), example.within.astype(np.float32) / 255
    )


def batch(rng: Rng, examples: list[Example], *, whole: bool = False) -> Batch:
    """Vary each example and put them together: other light and looks, turned, a part of the face or all of it."""
    varied = [_vary(rng, example, whole=whole) for example in examples]
    height = max(planes.shape[1] for planes, *_ in varied)
    width = max(planes.shape[2] for planes, *_ in varied)
    stacked = np.zeros((len(varied), PLANES, height, width), np.float32)
    truths = np.zeros((len(varied), len(TRUTHS), height, width), np.float32)
    within = np.zeros((len(varied), height, width), np.float32)
    for i, (planes, truth, _) in enumerate(varied):
        stacked[i, :, : planes.shape[1], : planes.shape[2]] = planes
        truths[i, :, : truth.shape[1], : truth.shape[2]] = truth
        within[i, : truth.shape[1], : truth.shape[2]] = planes[4]
    facts = np.stack([facts for *_, facts in varied])[:, :, None, None]
    known = np.array([example.fully_labelled for example in examples], np.float32)
    second = np.array([example.hand == "second" for example in examples], np.float32)
    return Batch(*(torch.from_numpy(array) for array in (stacked, facts, truths, within, known, second)))


def _vary(
    rng: Rng, example: Example, *, whole: bool
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Planes, truth and facts of one variation of a face."""
    referenced = example.referenced and rng.random() > UNLABELLED_TOO
    baseline = example.baseline if referenced and rng.random() < 0.65 else None
    spread, cast = (0.08, 0.02) if referenced else (0.4, 0.12)
    shift = (rng.normal(0, spread) + rng.normal(0, cast, 3)).astype(np.float32)
    paint = None if example.fully_labelled or rng.random() < 0.4 else _random_paint(rng, example)
    if baseline is not None:
        moved = rng.normal(0, spread) + rng.normal(0, cast, 3) + shift
        moved = moved + (paint.shift if paint is not None else 0)
        red, green, blue = (float(v) for v in np.array(baseline.log_rgb) + moved)
        baseline = Baseline((red, green, blue), baseline.spread, referenced)
    # Of a varied face only a part is made finely; what is told of the whole comes from a coarse copy of it.
    look = random_look(rng, referenced=referenced)
    coarse, _ = look.change(*_window(example, (slice(None, None, 4), slice(None, None, 4)), shift, paint), step=4)
    part = (slice(None), slice(None)) if whole else _part(rng, example.within.shape)
    fine, truth = look.change(*_window(example, part, shift, paint), step=1)
    if not referenced:
        fine, truth = _at_other_scale(rng, fine, truth)
        gain = exposure_gain(coarse)
        coarse, fine = (in_other_exposure(one, gain) for one in (coarse, fine))
    facts = face_facts(coarse, plate=example.kind == "plate", baseline=baseline, referenced=referenced)
    stack = stack_planes(fine, baseline)
    return (*_turned(rng, example.kind, pad_planes(stack), pad_planes(truth)), facts)


def _at_other_scale(rng: Rng, planes: FacePlanes, truth: NDArray[np.float32]) -> tuple[FacePlanes, NDArray[np.float32]]:
    """A face whose size is guessed, as it is without a label: larger or smaller than it is."""
    factor = float(np.exp(rng.normal(0, _GUESSED_SCALE)))
    size = tuple(max(16, round(side * factor)) for side in planes.within.shape[::-1])

    def scaled(plane: NDArray[np.float32]) -> NDArray[np.float32]:
        return np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_LINEAR), np.float32)

    return FacePlanes(scaled(planes.logs), scaled(planes.detail), scaled(planes.within)), np.stack(
        [scaled(plane) for plane in truth]
    )


@dataclass(frozen=True, eq=False)
class _Paint:
    """Another substrate under the same growth: the bare parts' logarithms moved by ``shift`` and spread from
    ``centre`` by ``contrast``, or ``texture`` in place of their own. Scenes have few substrates; this makes many.
    """

    centre: NDArray[np.float32]
    shift: NDArray[np.float32]
    contrast: float
    texture: Texture | None = None


def _random_paint(rng: Rng, example: Example) -> _Paint:
    bare = (example.within > 200) & (example.truth[:2].max(axis=0) < 10)
    centre = np.median(example.logs[bare].astype(np.float32), axis=0) if bare.sum() > 50 else np.zeros(3, np.float32)
    luminance = rng.uniform(-0.8, 0.5) if centre.mean() > -0.5 else rng.uniform(-0.6, 1.3)
    warmth = rng.normal(0, 0.15)
    shift = luminance + np.array([warmth, rng.normal(0, 0.05), -warmth])
    texture = any_texture(rng) if example.kind != "plate" and rng.random() < TEXTURE_SHARE else None
    return _Paint(centre, shift.astype(np.float32), float(np.exp(rng.normal(-0.1, 0.25))), texture)


def _window(
    example: Example, part: tuple[slice, slice], shift: NDArray[np.float32], paint: _Paint | None
) -> tuple[FacePlanes, NDArray[np.float32]]:
    """Planes of a part of an example in other light, its substrate painted over, and the truth of that part."""
    within = example.within[part].astype(np.float32) / 255
    logs, detail = example.logs[part].astype(np.float32), example.detail[part].astype(np.float32)
    truth = example.truth[(slice(None), *part)].astype(np.float32) / 255
    if paint is not None:
        step = part[0].step or 1
        bare = 1 - cv2.GaussianBlur(np.clip(truth[0] + truth[1], 0, 1), (0, 0), 2.0 / step)
        if paint.texture is not None:
            logs, detail = _retextured(logs, detail, within, bare, paint, part)
        logs = logs + bare[..., None] * (paint.shift + (paint.contrast - 1) * (logs - paint.centre))
        detail = detail * (1 + bare * (paint.contrast - 1))
    logs = np.where(within[..., None] > 0, logs + shift, 0)
    return FacePlanes(logs.astype(np.float32), detail, within), truth


def _retextured(
    logs: NDArray[np.float32],
    detail: NDArray[np.float32],
    within: NDArray[np.float32],
    bare: NDArray[np.float32],
    paint: _Paint,
    part: tuple[slice, slice],
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Logarithms and detail with the bare parts' own texture taken out and another laid in, under light and growth.

    What is left of a bare point is its light (the mean of what is bare around it) and what a reflection adds.
    """
    assert paint.texture is not None
    step = part[0].step or 1
    fresh_logs, fresh_detail = paint.texture.tile(logs.shape[:2], part[0].start or 0, part[1].start or 0, step)
    side = max(3, round(_LIGHT_MM * INPUT_PX_PER_MM / step) | 1)
    weight = bare**4 * (within > 0)
    known = cv2.blur(weight, (side, side))[..., None]
    around = cv2.blur(logs * weight[..., None], (side, side)) / np.maximum(known, 1e-3)
    own = np.exp(np.where(known > 0.02, around, paint.centre))
    light, share = np.exp(logs), bare[..., None]
    reflected = np.maximum(light - own * np.exp(_OWN_TEXTURE), 0) * share
    grown = np.maximum(light - share * own, 0) * (1 - share**3)
    mixed = np.log(np.maximum(grown + share * own * np.exp(fresh_logs) + reflected, 1e-3))
    return mixed.astype(np.float32), (detail * (1 - bare) + fresh_detail * bare).astype(np.float32)


def _part(rng: Rng, shape: tuple[int, int]) -> tuple[slice, slice]:
    """A window of a face, all of a small one."""
    height, width = (min(side, WINDOW_PX) for side in shape)
    top, left = int(rng.integers(0, shape[0] - height + 1)), int(rng.integers(0, shape[1] - width + 1))
    return slice(top, top + height), slice(left, left + width)


def _turned(
    rng: Rng, kind: str, stack: NDArray[np.float32], truth: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    if rng.random() < 0.5:
        stack, truth = stack[:, :, ::-1], truth[:, :, ::-1]
    if rng.random() < 0.3:
        stack, truth = stack[:, ::-1], truth[:, ::-1]
    if kind == "plate" and rng.random() < 0.5:
        stack, truth = stack.transpose(0, 2, 1), truth.transpose(0, 2, 1)
    return stack, truth
