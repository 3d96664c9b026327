"""Photos of one phase combined, where a colonised point stays colonised."""

import numpy as np
import pytest

from vision.days.monotone_growth import monotone_growth

SHAPE = (6, 8)


def maps(*levels):
    return [np.full(SHAPE, level, np.float32) for level in levels]


def steady(*levels, unheard=()):
    heard = [np.full(SHAPE, day not in unheard) for day in range(len(levels))]
    return [float(one[3, 4]) for one in monotone_growth(maps(*levels), heard, 1.0)]


def test_the_combination_of_days_is_bayes_rule_over_the_day_of_colonisation():
    said = np.array([0.2, 0.7, 0.35, 0.9])
    chances = [np.prod(np.where(np.arange(4) >= onset, said, 1 - said)) for onset in range(5)]
    by_hand = np.cumsum(chances)[:4] / np.sum(chances)
    assert steady(*said) == pytest.approx(by_hand, abs=1e-4)


def test_a_reflection_of_one_day_is_overruled():
    assert steady(0.02, 0.97, 0.03, 0.02)[1] < 0.5


def test_a_day_that_misses_growth_is_filled():
    assert steady(0.05, 0.95, 0.2, 0.97, 0.98)[2] > 0.5


def test_a_moving_front_is_unchanged():
    assert [level > 0.5 for level in steady(0.01, 0.02, 0.1, 0.93, 0.99)] == [False, False, False, True, True]


def test_a_veiled_day_has_no_effect_on_others():
    without = steady(0.02, 0.9, unheard=())
    between = steady(0.02, 0.9, 0.9, unheard=(1,))
    assert between[0] == pytest.approx(without[0], abs=0.02)


def test_the_map_is_empty_outside_the_face():
    inside = np.zeros(SHAPE, bool)
    inside[:, :4] = True
    days = [np.where(inside, one, np.float32(0)) for one in maps(0.3, 0.9)]
    for one in monotone_growth(days, [inside, inside], 1.0):
        assert not one[~inside].any()
        assert one[inside].all()


def test_days_are_compared_at_a_coarser_scale_and_returned_at_their_own():
    days = [np.full((40, 60), level, np.float32) for level in (0.02, 0.97, 0.03)]
    heard = [np.ones((40, 60), bool)] * 3
    assert [one.shape for one in monotone_growth(days, heard, 4.0)] == [(40, 60)] * 3
    assert (monotone_growth(days, heard, 4.0)[1] < 0.5).all()


def test_maps_without_growth_stay_empty():
    nothing = maps(0.0, 0.0)
    assert not np.any(monotone_growth(nothing, [np.ones(SHAPE, bool)] * 2, 2.0))


def test_where_growth_lies_in_the_frame_makes_no_difference():
    rng = np.random.default_rng(1)
    days = [rng.uniform(0.01, 0.99, (24, 16)).astype(np.float32) for _ in range(3)]
    heard = [np.ones((24, 16), bool)] * 3
    wide = [np.pad(day, ((8, 30), (12, 6))) for day in days]
    inside = [day > 0 for day in wide]
    for small, large in zip(monotone_growth(days, heard, 4.0), monotone_growth(wide, inside, 4.0), strict=True):
        assert large[8:32, 12:28] == pytest.approx(small, abs=1e-5)
        assert not large[~inside[0]].any()
