"""Photos of one phase combined, where a colonised point stays colonised: each with the earlier ones."""

import numpy as np
import pytest

from vision.days.monotone_growth import odds_after, with_earlier

SHAPE = (6, 8)


def read_in_turn(days, heard, px_per_mm=1.0):
    """Each day's map given the days before it."""
    odds, read = None, []
    for day, usable in zip(days, heard, strict=True):
        read.append(day if odds is None else with_earlier(day, odds))
        odds = odds_after(day, usable, px_per_mm, odds)
    return read


def steady(*levels, unheard=()):
    heard = [np.full(SHAPE, day not in unheard) for day in range(len(levels))]
    return [float(one[3, 4]) for one in read_in_turn([np.full(SHAPE, level, np.float32) for level in levels], heard)]


def test_the_combination_of_days_is_bayes_rule_over_the_day_of_colonisation():
    """For each day, over all days of colonisation up to it and none, from the photos up to it."""
    said = np.array([0.2, 0.7, 0.35, 0.9])
    by_hand = []
    for day in range(4):
        known = said[: day + 1]
        chances = [np.prod(np.where(np.arange(day + 1) >= onset, known, 1 - known)) for onset in range(day + 2)]
        by_hand.append(1 - chances[-1] / np.sum(chances))
    assert steady(*said) == pytest.approx(by_hand, abs=0.01)  # odds are kept in steps of 1/15


def test_later_photos_have_no_effect():
    assert steady(0.02, 0.9, 0.03)[:2] == steady(0.02, 0.9)


def test_growth_missing_on_one_day_is_filled():
    assert steady(0.05, 0.95, 0.2, 0.97, 0.98)[2] > 0.5


def test_a_reflection_of_one_day_does_not_stay():
    assert steady(0.02, 0.97, 0.03, 0.02, 0.02)[3] < 0.5


def test_growth_of_any_number_of_photos_can_be_overruled_by_a_few_later_ones():
    """A bag that was mistaken for another, or a lamp's reflection over many days."""
    assert steady(*[0.99] * 30, *[0.01] * 5)[-1] < 0.5


def test_a_moving_front_is_unchanged():
    assert [level > 0.5 for level in steady(0.01, 0.02, 0.1, 0.93, 0.99)] == [False, False, False, True, True]


def test_a_veiled_day_has_no_effect_on_others():
    without = steady(0.02, 0.9, 0.4, unheard=())
    between = steady(0.02, 0.9, 0.99, 0.4, unheard=(2,))
    assert between[3] == pytest.approx(without[2], abs=0.06)


def test_the_map_is_empty_outside_the_face():
    inside = np.zeros(SHAPE, bool)
    inside[:, :4] = True
    days = [np.where(inside, np.float32(level), np.float32(0)) for level in (0.3, 0.9)]
    for one in read_in_turn(days, [inside, inside]):
        assert not one[~inside].any()
        assert one[inside].all()


def test_days_are_compared_at_a_coarser_scale_and_returned_at_their_own():
    days = [np.full((40, 60), level, np.float32) for level in (0.02, 0.97, 0.3)]
    heard = [np.ones((40, 60), bool)] * 3
    assert odds_after(days[0], heard[0], 4.0, None).shape == (10, 15)
    read = read_in_turn(days, heard, 4.0)
    assert [one.shape for one in read] == [(40, 60)] * 3
    assert (read[2] > 0.5).all()


def test_maps_without_growth_stay_empty():
    nothing = [np.zeros(SHAPE, np.float32)] * 2
    assert not np.any(read_in_turn(nothing, [np.ones(SHAPE, bool)] * 2))
