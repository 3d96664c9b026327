"""Moulds of many looks in our own training scenes: who gets them, and that their truth is that of what is drawn."""

import hashlib
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from training.scenes.any_mould import COLOURS, any_harmless, any_mould, nearest_word
from training.scenes.any_plan import MORE_MOULDS_FROM, any_plan
from training.scenes.growth import Culture, Grown, classify, look, plant
from training.scenes.moulds import Finish, Form, Mould, MouldLook
from training.scenes.pieces import Bed
from training.scenes.recipes import SCENES

#: Mycelium that comes after everything else here, and one that covers the bed at once.
LATE = Culture(mm_per_day=4.0, lag_hours=5000.0, points=3)
SOON = Culture(mm_per_day=200.0, lag_hours=0.0, tau_hours=2.0, points=9)


def grown(mould: Mould, culture: Culture = LATE) -> Grown:
    shape = (240, 270)
    ground = Bed(np.full((*shape, 3), 0.1, np.float32), np.zeros(shape, np.float32), 3.0)
    return plant(np.random.default_rng(3), ground, culture, (mould,))


def mould(form: Form, finish: Finish, **more: object) -> Mould:
    own = MouldLook(5, form, finish, (0.1, 0.3, 0.1), **more)  # type: ignore[arg-type]
    return Mould("green", 20.0, 4.0, (0.5, 0.5), 30.0, own)


@pytest.mark.parametrize(
    ("number", "fingerprint"),
    [(7, "1ea7b4dc609ec650"), (2004, "34737a5178298a28"), (MORE_MOULDS_FROM - 1, "bc0ef25b0ab448c3")],
)
def test_scenes_below_the_number_are_planned_as_before(number: int, fingerprint: str) -> None:
    plan = repr(any_plan(number)).replace(", look=None", "").replace(", harmless=()", "")
    assert hashlib.sha256(plan.encode()).hexdigest()[:16] == fingerprint


def test_only_scenes_from_the_number_on_have_looks_and_harmless_things() -> None:
    plain = [plan() for plan in SCENES.values()] + [any_plan(number) for number in range(40)]
    vessels = [vessel for plan in plain for vessel in plan.vessels]
    assert all(one.look is None for vessel in vessels for one in vessel.moulds)
    assert not any(vessel.harmless for vessel in vessels)
    rich = [vessel for number in range(300) for vessel in any_plan(MORE_MOULDS_FROM + number).vessels]
    assert all(one.look is not None for vessel in rich for one in vessel.moulds)
    counts = Counter(len(vessel.moulds) for vessel in rich)
    shares = [counts[number] / len(rich) for number in range(4)]
    assert shares == pytest.approx([0.25, 0.25, 0.3, 0.2], abs=0.06)


def test_a_drawn_mould_keeps_to_its_ranges_and_has_a_plain_word() -> None:
    rng = np.random.default_rng(8)
    drawn = [any_mould(rng, on_plate=number % 2 == 0) for number in range(600)]
    looks = [one.look for one in drawn if one.look]
    assert {one.form for one in looks} == {"one", "cluster", "scattered", "satellites", "sector", "patch"}
    assert {one.colour for one in drawn} == set(COLOURS)
    assert all(10 <= one.first_hours <= 200 and 1.5 <= one.mm_per_day <= 8 for one in drawn)
    assert all(0 < value < 1 for one in looks for value in (*one.tone, *one.pale))
    assert all(nearest_word(tone) == word for word, tone in COLOURS.items())
    assert np.mean([one.largest_mm <= 25 for one in looks]) > 0.5


def test_a_colony_grows_at_its_rate_and_stops_at_its_largest_radius() -> None:
    history = grown(mould("one", "velvet", largest_mm=15.0, rough=0.0))
    radii = [np.sqrt((classify(history, hours)[0] == 3).sum() / 9 / np.pi) for hours in (68.0, 400.0)]
    # established where at least half is hidden, 10 ln 2 hours after it arrives
    assert radii[0] == pytest.approx(4.0 / 24 * (68 - 20 - 10 * np.log(2)), rel=0.05)
    assert radii[1] == pytest.approx(15.0, rel=0.05)


def test_a_wispy_colony_is_contaminated_as_a_whole_though_the_ground_shows() -> None:
    history = grown(mould("one", "wispy", cover=0.6, contrast=0.8, largest_mm=15.0, rough=0.0))
    state = look(history, 200.0)
    rows, columns = np.mgrid[:240, :270]
    inside = np.hypot(rows - 120, columns - 135) < 13 * 3
    assert (state.classes[inside] == 3).all()
    # red and blue of the ground are those of the mould: green alone tells how much of it is hidden
    hidden = (state.albedo[inside][:, 1] - 0.1) / (0.3 - 0.1)
    assert 0.02 < np.quantile(hidden, 0.1) < 0.3
    assert hidden.max() <= 0.6 + 1e-5


def test_pin_heads_without_felt_count_from_their_colour_on() -> None:
    history = grown(mould("one", "pin heads", cover=0.0, largest_mm=15.0))
    before, after = look(history, 45.0), look(history, 150.0)
    assert not (before.classes == 3).any()
    assert np.ptp(before.albedo) == 0
    assert (after.classes == 3).any()
    assert np.ptp(after.albedo[after.classes == 3]) > 0.05


def test_a_margin_stays_pale_and_is_contaminated() -> None:
    history = grown(mould("one", "velvet", largest_mm=20.0, margin_mm=5.0, rough=0.0))
    classes, tinted = classify(history, 900.0)
    assert np.sqrt(tinted.sum() / 9 / np.pi) == pytest.approx(15.0, rel=0.1)
    assert np.sqrt((classes == 3).sum() / 9 / np.pi) == pytest.approx(20.0, rel=0.05)


def test_many_small_colonies_are_each_contaminated() -> None:
    classes, _ = classify(grown(mould("scattered", "powder", largest_mm=12.0)), 300.0)
    ill = (classes == 3).astype(np.uint8)
    assert 10 < ill.sum() / 9 < 600
    assert (classes == 1).sum() > ill.sum()


def test_mycelium_does_not_grow_into_a_mould_that_holds_it_back() -> None:
    wet = mould("patch", "wet", holds_back=True, cover=1.0)
    late = replace(SOON, lag_hours=300.0)
    bare = look(grown(wet, late), 400.0)
    grown_over = look(grown(mould("patch", "wet", cover=1.0), late), 400.0)
    ill = bare.classes == 3
    assert (ill == (grown_over.classes == 3)).all()
    assert bare.albedo[ill].mean() < 0.3 * grown_over.albedo[ill].mean()


def test_harmless_things_show_on_mycelium_only_and_are_never_contaminated() -> None:
    rng = np.random.default_rng(9)
    things = [replace(any_harmless(rng), place=(0.5, 0.5), first_hours=50.0) for _ in range(12)]
    for thing in things:
        on_bare, on_white = look(grown(thing), 300.0), look(grown(thing, SOON), 300.0)
        without = look(grown(replace(thing, first_hours=5000.0), SOON), 300.0)
        assert np.ptp(on_bare.albedo) == 0
        assert np.abs(on_white.albedo - without.albedo).max() > 0.03
        assert (on_white.classes == without.classes).all()
        assert not (on_white.classes == 3).any()
