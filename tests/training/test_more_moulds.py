"""More moulds on another maker's vessels: how many, of which looks, and that the maker is left as it was."""

import sys
from types import ModuleType, SimpleNamespace

import numpy as np
import pytest

from training.segmenter.more_moulds import _more_moulds_of, new_look

LOOKS = {
    "disc": {"young": [1, 1, 1], "old": [2, 2, 2], "core": [3, 3, 3], "cover": 0.9, "delay": (10, 20)},
    "dots": {"young": [4, 4, 4], "old": [5, 5, 5], "core": [6, 6, 6], "cover": 0.5, "delay": (1, 2), "growth": "many"},
    "pool": {
        "young": [7, 7, 7],
        "old": [8, 8, 8],
        "core": [9, 9, 9],
        "cover": 0.8,
        "delay": (3, 4),
        "growth": "liquid",
    },
    "rings": {"young": [1, 2, 3], "old": [2, 3, 4], "core": [3, 4, 5], "cover": 0.7, "delay": (5, 6), "rings": True},
}


def test_a_new_look_has_the_form_colours_and_finish_of_others_but_of_none_that_needs_a_wall():
    rng = np.random.default_rng(1)
    looks = [new_look(rng, LOOKS) for _ in range(200)]
    assert {look.get("growth") for look in looks} == {None, "many"}
    assert {look["cover"] for look in looks} == {0.9, 0.5, 0.7}
    assert any(look.get("growth") == "many" and look.get("rings") for look in looks)
    assert sum(look["old"] not in [one["old"] for one in LOOKS.values()] for look in looks) > 40, "some in any colour"
    assert all(0 <= value <= 255 for look in looks for part in ("young", "old", "core") for value in look[part])


@pytest.fixture
def maker(monkeypatch):
    """A maker whose moulds are the arguments they were made with."""
    parts = {
        "draw": SimpleNamespace(_moulds=lambda *_: "as before"),
        "moulds": SimpleNamespace(
            ZOO=dict(LOOKS),
            PLATES_ONLY=("rings",),
            Mould=lambda rng, *arguments: arguments,
            draw_mould=lambda *_: "as before",
        ),
        "lookalikes": SimpleNamespace(draw_extras=lambda rng, vessel: ["droplet"]),
    }
    monkeypatch.setitem(sys.modules, "a_maker", ModuleType("a_maker"))
    for name, part in parts.items():
        monkeypatch.setitem(sys.modules, f"a_maker.{name}", part)
    return SimpleNamespace(**parts)


def test_vessels_have_up_to_three_moulds_some_of_a_new_look_and_twice_the_look_alikes(maker):
    with _more_moulds_of("a_maker"):
        chosen = maker.draw._moulds(np.random.default_rng(2), 400, False)
        on_plates = maker.draw._moulds(np.random.default_rng(3), 400, True)
        assert maker.lookalikes.draw_extras(None, None) == ["droplet", "droplet"]
        known = set(maker.moulds.ZOO)
    assert {len(names) for names in chosen} == {0, 1, 2, 3}
    names, plates = ({name for some in every for name in some} for every in (chosen, on_plates))
    assert "rings" not in names
    assert "pool" in names
    assert "pool" not in plates
    assert "rings" in plates
    assert {"disc", "dots"} < names
    assert any(name.startswith("new ") for name in names)
    assert names <= known


def test_a_mould_lies_on_its_vessel_and_most_stay_small(maker):
    vessel, rng = SimpleNamespace(W=120.0, H=200.0, ppm=4.0), np.random.default_rng(4)
    with _more_moulds_of("a_maker"):
        made = [maker.moulds.draw_mould(rng, vessel, "disc") for _ in range(300)]
    across, down, begins, speed, largest = np.array([one[4:] for one in made]).T
    for values, low, high in ((across, 0, 120), (down, 0, 200), (begins, 10, 180), (speed, 1.5, 8)):
        assert low <= values.min() < values.max() <= high
    assert 0.5 < (largest <= 24).mean() < 0.7


def test_the_maker_is_left_as_it_was(maker):
    with _more_moulds_of("a_maker"):
        maker.draw._moulds(np.random.default_rng(2), 40, False)
    assert maker.moulds.ZOO == LOOKS
    assert maker.draw._moulds(None, 1, False) == maker.moulds.draw_mould(None, None, "disc") == "as before"
    assert maker.lookalikes.draw_extras(None, None) == ["droplet"]
