"""The outline of a face: the star-shaped curve that best parts a vessel from what is around it.

A first guess (a closed curve in polar form) says about where the outline lies. Colours and texture inside and
outside the guess are learned; each ray from the centre is then cut where inside most likely ends, smoothly around
the curve (dynamic programming), and the step is repeated with what the better outline teaches. Several sights of
one face (its photos over days) are cut together: what looked like the vessel on any day belongs to it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.closed_curve import best_curves
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
#: All borders are whole numbers of this many Lab units.
_BORDER_STEP = 0.5
_CODES = int(np.prod([len(borders) + 1 for borders in _BORDERS]))
#: What a pixel that is known to lie inside or outside has for a kind where evidence is looked up.
_KNOWN_INSIDE, _KNOWN_OUTSIDE = _CODES, _CODES + 1
#: Zones whose kinds are counted.
_NO_ZONE, _INSIDE, _AROUND, _FOREIGN = range(4)
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

    codes: intp, kind of colour and texture. edge: float32, change of colour, Lab units per px.
    known: int8, 1 surely inside, -1 surely outside, 0 not known.
    foreign: True on a part of the outside that looks unlike the rest of it (a bag's film above the substrate).
    """

    codes: NDArray[np.intp]
    edge: NDArray[np.float32]
    known: NDArray[np.int8]
    foreign: NDArray[np.bool_]

    @cached_property
    def looked_up(self) -> NDArray[np.intp]:
        """Codes with those of known pixels replaced."""
        codes = self.codes.copy()
        codes[self.known > 0] = _KNOWN_INSIDE
        codes[self.known < 0] = _KNOWN_OUTSIDE
        return codes

    def zones(self, painted: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Which pixels teach what: those painted in by the present outline, but for what is known beforehand."""
        zones = painted.copy()
        zones[(self.known < 0) & (painted == _INSIDE)] = _NO_ZONE
        zones[self.foreign & (zones != _INSIDE)] = _FOREIGN
        zones[self.known > 0] = _INSIDE
        return zones


def sight_of(lab: NDArray[np.float32], known: NDArray[np.int8], foreign: NDArray[np.bool_]) -> Sight:
    """A sight of a Lab picture (rows, columns, 3) of about one pixel a millimetre."""
    return Sight(_coded(lab), edge_strength(lab), known, foreign)


def rounded_rectangle_radii(width: float, height: float, corner: float) -> NDArray[np.float64]:
    """Distance from the centre to a rectangle with rounded corners, along each ray."""
    corner = min(corner, width / 2, height / 2)
    direction = np.abs(np.stack(_directions(), axis=1))
    straight = np.min(np.array([width / 2, height / 2]) / np.maximum(direction, 1e-9), axis=1)
    pivot = np.array([width / 2 - corner, height / 2 - corner])
    along = direction @ pivot
    under = along**2 - (pivot @ pivot - corner**2)
    arc = along + np.sqrt(np.maximum(under, 0.0))
    tip = direction * straight[:, None] - pivot
    return np.asarray(np.where((tip > 0).all(axis=1), arc, straight), np.float64)


def fill(radii: NDArray[np.float64], centre: tuple[float, float], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Mask (rows, columns), True inside the curve of these radii around centre (row, column)."""
    mask = np.zeros(shape, np.uint8)
    _paint(mask, radii, centre, 1)
    return mask.view(bool)


def _paint(plane: NDArray[np.uint8], radii: NDArray[np.float64], centre: tuple[float, float], level: int) -> None:
    reach = np.maximum(radii - 0.5, 0.0)  # OpenCV fills up to and including the pixels that the curve touches
    cosines, sines = _directions()
    points = np.stack([centre[1] + reach * cosines, centre[0] + reach * sines], axis=1)
    cv2.fillPoly(plane, [np.round(points * 16).astype(np.int32)], level, shift=4)


def fitted_rectangle(mask: NDArray[np.bool_], corner: float) -> tuple[NDArray[np.float64], tuple[float, float]]:
    """Radii of the rounded rectangle with the mask's centre, spread and area, and its centre."""
    moments = cv2.moments(mask.view(np.uint8), binaryImage=True)
    area = moments["m00"]
    centre = (moments["m01"] / area, moments["m10"] / area)
    width, height = (float(np.sqrt(12 * moments[name] / area)) for name in ("mu20", "mu02"))
    radii = rounded_rectangle_radii(width, height, corner)
    area_ratio = area / max(1, int(np.count_nonzero(fill(radii, centre, mask.shape))))
    return radii * area_ratio**0.5, centre


def side_and_end_spread(sides: float, ends: float) -> NDArray[np.float64]:
    """Spread of an upright face's guess along each ray: one value for its sides, one for its top and bottom."""
    return np.asarray(np.where(np.abs(np.cos(_angles())) > 0.75, sides, ends), np.float64)


def refine_outline(sights: Sequence[Sight], guess: OutlineGuess, *, rounds: int = 2) -> NDArray[np.float64]:
    """Radii of the refined outline along the rays of the guess, common to all sights of the same face."""
    return refine_outlines([(sights, guess)], rounds=rounds)[0]


def refine_outlines(
    faces: Sequence[tuple[Sequence[Sight], OutlineGuess]], *, rounds: int = 2
) -> list[NDArray[np.float64]]:
    """The refined outline of each of several faces, given by its sights and a guess; together they take less time."""
    seekers = [_Seeker(sights, guess) for sights, guess in faces]
    if not seekers:
        return []
    for _ in range(rounds):
        steps = best_curves(np.stack([seeker.gain() for seeker in seekers]), _STIFFNESS)
        for seeker, step in zip(seekers, steps, strict=True):
            seeker.radii = seeker.reach[np.arange(_RAYS), step]
    return [seeker.radii for seeker in seekers]


class _Seeker:
    """The search for one face's outline: what it has to gain along each ray, as its present radii tell."""

    def __init__(self, sights: Sequence[Sight], guess: OutlineGuess) -> None:
        self.sights, self.centre = sights, guess.centre
        self.radii = np.asarray(guess.radii, np.float64)
        shares = np.linspace(_LOWEST, _HIGHEST, _STEPS)
        self.reach = guess.radii[:, None] * shares[None]
        cosines, sines = _directions()
        self._columns = (guess.centre[1] + self.reach * cosines[:, None]).astype(np.float32)
        self._rows = (guess.centre[0] + self.reach * sines[:, None]).astype(np.float32)
        self._step_px = (guess.radii[:, None] * ((_HIGHEST - _LOWEST) / _STEPS)).astype(np.float32)
        edges = [self._along_rays(sight.edge) for sight in sights]
        edge = edges[0] if len(edges) == 1 else np.mean(edges, axis=0)
        drift = (shares - 1.0)[None] / guess.spread[:, None]
        self._fixed = _EDGE_WEIGHT * edge - (_PRIOR_WEIGHT * drift**2).astype(np.float32)

    def gain(self) -> NDArray[np.float32]:
        """Gain of ending the face at each step of each ray, (rays, steps)."""
        lean = _LEAN_INWARDS if len(self.sights) == 1 else 0.0
        each = [_evidence(sight, self.radii, self.centre, lean) for sight in self.sights]
        evidence = np.quantile(each, _SIGHTS_QUANTILE, axis=0).astype(np.float32) if len(each) > 1 else each[0]
        gain = np.cumsum(self._along_rays(evidence) * self._step_px, axis=1) + self._fixed
        return np.asarray(gain, np.float32)

    def _along_rays(self, plane: NDArray[np.float32]) -> NDArray[np.float32]:
        """Values of a plane at all steps of all rays, (rays, steps)."""
        sampled = cv2.remap(plane, self._columns, self._rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(sampled, np.float32)


@cache
def _directions() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Cosine and sine of each ray's angle."""
    return np.cos(_angles()), np.sin(_angles())


def _angles() -> NDArray[np.float64]:
    return np.asarray(np.arange(_RAYS) * (2 * np.pi / _RAYS), np.float64)


def fine_contrast(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Standard deviation of lightness over 3 x 3 pixels (rows, columns)."""
    lightness = lab[..., 0]
    variance = cv2.blur(lightness**2, (3, 3)) - cv2.blur(lightness, (3, 3)) ** 2
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)), np.float32)


def _coded(lab: NDArray[np.float32]) -> NDArray[np.intp]:
    """A number for each pixel's kind of colour and texture: alike pixels share one (rows, columns)."""
    smooth = cv2.blur(lab, (3, 3))
    lowest, tables = _kind_tables()
    # In whole steps above the lowest border, cut to 8 bits: the tables' ends hold for all beyond.
    steps = np.concatenate([np.eye(3) / _BORDER_STEP, -lowest[:3, None]], axis=1)
    colours = np.clip(cv2.transform(smooth, steps.astype(np.float32)), 0, 255).astype(np.uint8)
    contrast = np.clip(fine_contrast(lab) / np.float32(_BORDER_STEP) - lowest[3], 0, 255).astype(np.uint8)
    code = cv2.transform(cv2.LUT(colours, tables[:, :, :3]), np.ones((1, 3), np.float32))
    return np.asarray(cv2.add(code, cv2.LUT(contrast, np.ascontiguousarray(tables[:, :, 3]))), np.intp)


@cache
def _kind_tables() -> tuple[NDArray[np.float32], NDArray[np.uint16]]:
    """For each of ``_BORDERS`` the step before its lowest, (4,), and what each step from there adds, (1, 256, 4)."""
    lowest = np.array([borders[0] / _BORDER_STEP - 1 for borders in _BORDERS])
    levels = (np.arange(256)[:, None] + lowest) * _BORDER_STEP
    kinds = [np.digitize(level, borders) for level, borders in zip(levels.T, _BORDERS, strict=True)]
    sizes = [len(borders) + 1 for borders in _BORDERS]
    weights = [int(np.prod(sizes[place + 1 :])) for place in range(len(sizes))]
    adds = [kind * weight for kind, weight in zip(kinds, weights, strict=True)]
    return lowest.astype(np.float32), np.stack(adds, axis=1).astype(np.uint16)[None]


def _evidence(
    sight: Sight, radii: NDArray[np.float64], centre: tuple[float, float], lean: float
) -> NDArray[np.float32]:
    """Log odds that a pixel lies inside, from what the present outline teaches, limited; what is known is certain."""
    painted = np.zeros(sight.codes.shape, np.uint8)
    for share, zone in ((1.5, _AROUND), (1.08, _NO_ZONE), (0.9, _INSIDE)):
        _paint(painted, radii * share, centre, zone)
    keys = sight.codes + np.intp(_CODES) * sight.zones(painted)
    counts = np.bincount(keys.ravel(), minlength=4 * _CODES).reshape(4, _CODES)
    shares = (counts + _PRIOR_COUNT) / (counts.sum(axis=1, keepdims=True) + _PRIOR_COUNT * _CODES)
    # Without any pixels outside all kinds are as likely there: what the prior counts alone give.
    against = np.max([shares[zone] for zone in (_AROUND, _FOREIGN) if counts[zone].any()] or [shares[_AROUND]], axis=0)
    odds = np.clip(np.log(shares[_INSIDE] / against) + lean, -_EVIDENCE, _EVIDENCE)
    return np.append(odds, [_EVIDENCE, -_EVIDENCE]).astype(np.float32)[sight.looked_up]


def edge_strength(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Strength of the change of colour at each pixel, Lab units per px, limited."""
    rightward, downward = edge_fields(lab)
    squares = cv2.transform(rightward * rightward + downward * downward, np.ones((1, 3), np.float32))
    return np.asarray(np.minimum(np.sqrt(squares), _EDGE_LIMIT), np.float32)
