"""Detect drops that may be unrecorded shakes, and tell them from single wrong readings.

Two hypotheses are compared for each drop: one growth with a wrong reading or two, and two growths with a shake between
them. Both use the impingement law, the prior of the species table, and the usual effect of a shake.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import Kind, usual_pace, vessel_kinds
from growth.data import Drop, ForecastSettings, Series
from growth.fit.arrays import Group, padded
from growth.fit.phases import Phase, Prepared
from growth.fit.pooled import SHAKE_DOUBT, SHAKE_SCATTER, SHAKE_SHIFT
from growth.fit.priors import law_prior
from growth.fit.sampling import Gaussian, combined, explore, site
from growth.laws import GROWTH_LAWS, share_at

Array = NDArray[np.floating[Any]]

_LAW = GROWTH_LAWS["kjma"]
_SHARE_AT = partial(share_at, _LAW)
_ROUNDS = (256, 256, 256)
_ASK, _SPLIT = 0.5, 0.8  # probability from which the user is asked, and from which a shake is assumed
_HIGH_BEFORE, _FALL_TO, _CLEARLY = 0.08, 0.6, 2.0  # a drop to be judged: level before, largest part left, deviations
_AFTER = 5  # readings after the drop that are used; later ones may show other things, such as a stall
_WHEN = (0.15, 0.5, 0.85)  # candidate moments of the shake, as parts of the gap between the two readings
_SHAKE_NEAR_DAYS = 1.5  # a recorded shake this near explains the drop


@dataclass(frozen=True)
class _Fall:
    """A fall between readings ``at - 1`` and ``at`` of phase ``phase`` of vessel ``number``."""

    number: int
    phase: int
    at: int


def split_at_unrecorded_shakes(
    series: Sequence[Series], prepared: Sequence[Prepared], settings: ForecastSettings
) -> tuple[Prepared, ...]:
    """The same vessels, with the day of a probable unrecorded shake; a very probable one also starts a new phase."""
    falls = [fall for number, one in enumerate(prepared) for fall in _find_falls(number, series[number].kind, one)]
    result = list(prepared)
    if not falls:
        return tuple(result)
    probability, day = _weigh(falls, series, prepared, settings)
    for n in np.argsort(probability, kind="stable"):  # of several falls of one vessel the likeliest comes last
        if probability[n] >= _ASK:
            one, fall = prepared[falls[n].number], falls[n]
            last = fall.at + 1 == len(one.phases[fall.phase].days)  # one reading alone moves no day
            cut = bool(probability[n] >= _SPLIT) and not last
            result[fall.number] = _with_unrecorded_shake(one, fall, float(day[n]), cut=cut)
    return tuple(result)


def _find_falls(number: int, kind: Kind, one: Prepared) -> list[_Fall]:
    if vessel_kinds()[kind].unrecorded_shakes == 0.0:
        return []
    shakes = np.array([phase.start_day for phase in one.phases if phase.shaken])
    found = []
    for place, phase in enumerate(one.phases):
        before, after = phase.share[:-1], phase.share[1:]
        error = np.hypot(phase.spread[:-1], phase.spread[1:])
        fell = (before >= _HIGH_BEFORE) & (after <= _FALL_TO * before) & (before - after > _CLEARLY * error)
        for i in np.flatnonzero(fell) + 1:
            start, end = phase.start_day + phase.days[i - 1 : i + 1]
            if not ((shakes > start - _SHAKE_NEAR_DAYS) & (shakes < end + _SHAKE_NEAR_DAYS)).any():
                found.append(_Fall(number, place, int(i)))
    return found


def _weigh(
    falls: Sequence[_Fall], series: Sequence[Series], prepared: Sequence[Prepared], settings: ForecastSettings
) -> tuple[Array, Array]:
    """Probability (F,) that each drop is a shake, and its most probable day (F,)."""
    phases = [_near(prepared[fall.number].phases[fall.phase], fall.at) for fall in falls]
    prior = _prior([series[fall.number] for fall in falls], phases, settings)
    unshaken, _ = _evidence(phases, prior, settings)
    first, seen = _evidence([p.part(slice(f.at), 0.0) for p, f in zip(phases, falls, strict=True)], prior, settings)
    doubt = np.diag(np.square(SHAKE_DOUBT) + np.square(SHAKE_SCATTER))
    again = seen[0] + SHAKE_SHIFT, seen[1] + doubt
    gap = np.array([p.days[f.at - 1 : f.at + 1] for p, f in zip(phases, falls, strict=True)])
    starts = gap[:, :1] + np.array(_WHEN) * (gap[:, 1:] - gap[:, :1])
    second = []
    for start in starts.T:
        parts = [p.part(slice(f.at, None), float(s)) for p, f, s in zip(phases, falls, start, strict=True)]
        second.append(_evidence(parts, again, settings)[0])
    story = np.array(second)
    places = np.array([(p.share[: f.at] >= _HIGH_BEFORE).sum() for p, f in zip(phases, falls, strict=True)])
    untold = np.array([vessel_kinds()[series[f.number].kind].unrecorded_shakes for f in falls]) / places
    shaken = first + np.logaddexp.reduce(story, axis=0) - np.log(len(_WHEN))
    odds = np.log(untold) - np.log1p(-untold) + shaken - unshaken
    likeliest = np.take_along_axis(starts, story.argmax(axis=0)[:, None], axis=1)[:, 0]
    began = np.array([p.start_day for p in phases])
    return 1.0 / (1.0 + np.exp(-np.clip(odds, -500, 500))), began + likeliest


def _near(phase: Phase, at: int) -> Phase:
    """The phase up to one reading after the level before the drop is reached again."""
    regained = np.flatnonzero(phase.share[at:] >= phase.share[at - 1])
    end = min(at + _AFTER, len(phase.days))
    return phase.part(slice(min(end, at + int(regained[0]) + 2) if len(regained) else end), 0.0)


def _prior(series: Sequence[Series], phases: Sequence[Phase], settings: ForecastSettings) -> Gaussian:
    groups = []
    for one in series:
        pace, unknown = usual_pace(one.kind, one.species, one.substrate, settings.own_species)
        groups.append(Group(one.kind, one.species, one.substrate, pace, unknown))
    start = law_prior(_LAW, groups, settings.through_percent)
    shaken = np.array([phase.shaken for phase in phases], dtype=float)
    spread = start.covariance + start.between + start.within
    doubt = np.diag(np.square(SHAKE_DOUBT) + np.square(SHAKE_SCATTER))
    return start.mean + shaken[:, None] * SHAKE_SHIFT, spread[None] + shaken[:, None, None] * doubt


def _evidence(phases: Sequence[Phase], prior: Gaussian, settings: ForecastSettings) -> tuple[Array, Gaussian]:
    """Log evidence (F,) of each phase's readings under the law, and the posterior of its parameters."""
    guide, readings = prior, padded(phases)
    for n_points in _ROUNDS:
        draws, seen = explore(partial(share_at, _LAW), readings, prior, guide, n_points, settings.wrong_share)
        guide = combined(site(seen, prior), prior)
    return draws.log_evidence, seen


def _with_unrecorded_shake(one: Prepared, fall: _Fall, day: float, *, cut: bool) -> Prepared:
    phase = one.phases[fall.phase]
    (before, after), (first, second) = (
        (phase.start_day + phase.days)[fall.at - 1 : fall.at + 1].tolist(),
        (100.0 * phase.share)[fall.at - 1 : fall.at + 1].tolist(),
    )
    drop = Drop(before, first, after, second, day)
    if not cut:
        return replace(one, drop=drop)
    later = phase.part(slice(fall.at, None), day - phase.start_day)
    parts = (phase.part(slice(fall.at), 0.0), replace(later, start_day=day, shaken=True))
    phases = (*one.phases[: fall.phase], *parts, *one.phases[fall.phase + 1 :])
    return replace(one, phases=phases, drop=drop)
