"""The outline of a face: the star-shaped curve that best parts a vessel from what is around it.

A first guess (a closed curve in polar form) says about where the outline lies. Colours and texture inside and
outside the guess are learned; each ray from the centre is then cut where inside most likely ends, smoothly around
the curve (dynamic programming), and the step is repeated with what the better outline teaches. Several sights of
one face (its photos over days) are cut together: what looked like the vessel on any day belongs to it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.rectangle import edge_fields

#: Radii tried, as multiples of the guess.
_LOWEST, _HIGHEST, _STEPS = 0.62, 1.42, 121
_RAYS = 160
#: Largest weight of one pixel's evidence for in or out (natural log of the odds).
_EVIDENCE = 2.0
#: Over several sights a pixel's evidence is this quantile: background hardly ever looks like the vessel, while a
#: white edge of the vessel can look like a grey wall on many days.
_SIGHTS_QUANTILE = 0.85
#: In a single sight the shaded edge of a white vessel looks like a grey wall: doubt counts for the vessel.
_LEAN_INWARDS = 0.8
#: Weights found on the development scenes: an edge of one Lab unit per px, one spread off the guess squared,
#: a bend of the curve between neighbouring rays.
_EDGE_WEIGHT, _PRIOR_WEIGHT, _STIFFNESS = 8.0, 8.0, 6.0
_EDGE_LIMIT = 10.0
#: Borders of the kinds of lightness, a, b and fine contrast that are told apart (Lab units).
_BORDERS = (
    np.arange(10.0, 96.0, 7.0),
    np.array([-6.0, -1.5, 2.5, 7.0, 13.0]),
    np.array([-5.0, 0.0, 4.0, 9.0, 16.0, 26.0]),
    np.array([1.5, 3.5, 7.0]),
)
_CODES = int(np.prod([len(borders) + 1 for borders in _BORDERS]))
#: Pixels that each kind is taken to have had before any was counted.
_PRIOR_COUNT = 1.0


@dataclass(frozen=True, eq=False)
class OutlineGuess:
    """A first guess of an outline, in pixels of the picture it is refined on.

    radii: distance from the centre along equally spaced rays (angles from the x axis, downwards positive).
    centre: row, column. spread: how far the truth may lie from the guess, as a share of each radius.
    """

    radii: NDArray[np.float64]
    centre: tuple[float, float]
    spread: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Sight:
    """One look at a face and what is known of it beforehand, all (rows, columns).

    codes: int32, kind of colour and texture. edge: float32, change of colour, Lab units per px.
    known: int8, 1 surely inside, -1 surely outside, 0 not known.
    foreign: True on a part of the outside that looks unlike the rest of it (a bag's film above the substrate).
    """

    codes: NDArray[np.int32]
    edge: NDArray[np.float32]
    known: NDArray[np.int8]
    foreign: NDArray[np.bool_]


def sight_of(lab: NDArray[np.float32], known: NDArray[np.int8], foreign: NDArray[np.bool_]) -> Sight:
    """A sight of a Lab picture (rows, columns, 3) of about one pixel a millimetre."""
    return Sight(_coded(lab), edge_strength(lab), known, foreign)


def rounded_rectangle_radii(width: float, height: float, corner: float) -> NDArray[np.float64]:
    """Distance from the centre to a rectangle with rounded corners, along each ray."""
    corner = min(corner, width / 2, height / 2)
    angles = _angles()
    direction = np.stack([np.abs(np.cos(angles)), np.abs(np.sin(angles))], axis=1)
    straight = np.min(np.array([width / 2, height / 2]) / np.maximum(direction, 1e-9), axis=1)
    pivot = np.array([width / 2 - corner, height / 2 - corner])
    along = direction @ pivot
    under = along**2 - (pivot @ pivot - corner**2)
    arc = along + np.sqrt(np.maximum(under, 0.0))
    tip = direction * straight[:, None] - pivot
    return np.asarray(np.where((tip > 0).all(axis=1), arc, straight), np.float64)


def fill(radii: NDArray[np.float64], centre: tuple[float, float], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Mask (rows, columns), True inside the curve of these radii around centre (row, column)."""
    angles = _angles()
    reach = np.maximum(radii - 0.5, 0.0)  # OpenCV fills up to and including the pixels that the curve touches
    points = np.stack([centre[1] + reach * np.cos(angles), centre[0] + reach * np.sin(angles)], axis=1)
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 1, shift=4)
    return mask.astype(bool)


def fitted_rectangle(mask: NDArray[np.bool_], corner: float) -> tuple[NDArray[np.float64], tuple[float, float]]:
    """Radii of the rounded rectangle with the mask's centre, spread and area, and its centre."""
    rows, columns = np.nonzero(mask)
    centre = (float(rows.mean()), float(columns.mean()))
    radii = rounded_rectangle_radii(float(np.sqrt(12 * columns.var())), float(np.sqrt(12 * rows.var())), corner)
    area_ratio = float(mask.sum() / max(1, fill(radii, centre, mask.shape).sum()))
    return radii * area_ratio**0.5, centre


def side_and_end_spread(sides: float, ends: float) -> NDArray[np.float64]:
    """Spread of an upright face's guess along each ray: one value for its sides, one for its top and bottom."""
    return np.asarray(np.where(np.abs(np.cos(_angles())) > 0.75, sides, ends), np.float64)


def refine_outline(sights: Sequence[Sight], guess: OutlineGuess, *, rounds: int = 2) -> NDArray[np.float64]:
    """Radii of the refined outline along the rays of the guess, common to all sights of the same face."""
    reach = guess.radii[:, None] * np.linspace(_LOWEST, _HIGHEST, _STEPS)[None]
    step_px = guess.radii[:, None] * (_HIGHEST - _LOWEST) / _STEPS
    drift = (reach / guess.radii[:, None] - 1.0) / guess.spread[:, None]
    edge = np.mean([_along_rays(sight.edge, guess, reach) for sight in sights], axis=0)
    lean = _LEAN_INWARDS if len(sights) == 1 else 0.0
    radii = np.asarray(guess.radii, np.float64)
    for _ in range(rounds):
        each = [_evidence(sight, radii, guess.centre, lean) for sight in sights]
        evidence = np.quantile(each, _SIGHTS_QUANTILE, axis=0).astype(np.float32) if len(each) > 1 else each[0]
        gain = np.cumsum(_along_rays(evidence, guess, reach) * step_px, axis=1) + _EDGE_WEIGHT * edge
        steps = _smoothest(gain - _PRIOR_WEIGHT * drift**2)
        radii = np.asarray(reach[np.arange(len(reach)), steps], np.float64)
    return radii


def _angles() -> NDArray[np.float64]:
    return np.asarray(np.arange(_RAYS) * (2 * np.pi / _RAYS), np.float64)


def fine_contrast(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Standard deviation of lightness over 3 x 3 pixels (rows, columns)."""
    lightness = lab[..., 0]
    variance = cv2.blur(lightness**2, (3, 3)) - cv2.blur(lightness, (3, 3)) ** 2
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)), np.float32)


def _coded(lab: NDArray[np.float32]) -> NDArray[np.int32]:
    """A number for each pixel's kind of colour and texture: alike pixels share one (rows, columns)."""
    smooth = np.asarray(cv2.blur(lab, (3, 3)), np.float32)
    planes = (smooth[..., 0], smooth[..., 1], smooth[..., 2], fine_contrast(lab))
    code = np.zeros(lab.shape[:2], np.int32)
    for plane, borders in zip(planes, _BORDERS, strict=True):
        code *= len(borders) + 1
        code += np.digitize(plane, borders).astype(np.int32)
    return code


def _evidence(
    sight: Sight, radii: NDArray[np.float64], centre: tuple[float, float], lean: float
) -> NDArray[np.float32]:
    """Log odds that a pixel lies inside, from what the present outline teaches, limited; what is known is certain."""
    codes = sight.codes
    shape = (codes.shape[0], codes.shape[1])
    inside = (fill(radii * 0.9, centre, shape) & (sight.known >= 0)) | (sight.known > 0)
    around = ~fill(radii * 1.08, centre, shape) & fill(radii * 1.5, centre, shape) & (sight.known <= 0)
    outsides = [around & ~sight.foreign, sight.foreign & (sight.known <= 0) & ~inside]

    def share(mask: NDArray[np.bool_]) -> NDArray[np.float64]:
        return np.asarray(
            (np.bincount(codes[mask], minlength=_CODES) + _PRIOR_COUNT) / (mask.sum() + _PRIOR_COUNT * _CODES)
        )

    against = np.max([share(mask) for mask in outsides if mask.any()] or [np.full(_CODES, 1.0 / _CODES)], axis=0)
    odds = np.clip(np.log(share(inside) / against) + lean, -_EVIDENCE, _EVIDENCE).astype(np.float32)
    return np.where(sight.known == 0, odds[codes], sight.known * np.float32(_EVIDENCE)).astype(np.float32)


def edge_strength(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Strength of the change of colour at each pixel, Lab units per px, limited."""
    rightward, downward = edge_fields(lab)
    strength = np.sqrt((rightward**2 + downward**2).sum(axis=2))
    return np.asarray(np.minimum(strength, _EDGE_LIMIT), np.float32)


def _along_rays(plane: NDArray[np.float32], guess: OutlineGuess, reach: NDArray[np.float64]) -> NDArray[np.float32]:
    """Values of a plane at these distances along each ray, (rays, steps)."""
    angles = _angles()[:, None]
    columns = (guess.centre[1] + reach * np.cos(angles)).astype(np.float32)
    rows = (guess.centre[0] + reach * np.sin(angles)).astype(np.float32)
    return np.asarray(cv2.remap(plane, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _smoothest(gain: NDArray[np.floating], reach: int = 6) -> NDArray[np.intp]:
    """Step of each ray that makes the closed curve of most gain less the price of its bends (Viterbi).

    The curve is followed for one and a half turns and the middle one is taken, so that it closes.
    """
    rays, steps = gain.shape
    length = rays + rays // 2
    moves = np.arange(-reach, reach + 1)
    price = _STIFFNESS * moves.astype(np.float64)[:, None] ** 2 / 16.0
    best = gain[0].astype(np.float64)
    came = np.zeros((length, steps), np.intp)
    padded = np.full(steps + 2 * reach, -1e18)
    windows = np.lib.stride_tricks.sliding_window_view(padded, steps)  # a view: row m sees what moved by m - reach
    options, places = np.empty(windows.shape), np.arange(steps)
    for ray in range(1, length):
        padded[reach : reach + steps] = best
        np.subtract(windows, price, out=options)
        choice = options.argmax(axis=0)
        came[ray] = places + moves[choice]
        best = options[choice, places] + gain[ray % rays]
    path = np.empty(length, np.intp)
    path[-1] = int(best.argmax())
    for ray in range(length - 1, 0, -1):
        path[ray - 1] = came[ray, path[ray]]
    lead = rays // 4
    return np.roll(path[lead : lead + rays], lead)
