"""Own colours of a species, drawn: mycelium for that species, a suspect for any other."""

from typing import Any

import cv2
import numpy as np
import pytest

from calibration import SpeciesChange, own_species
from tests.vision.drawn import bag_photo
from vision.days import SeriesFace, read_series
from vision.photo import measure_photo
from vision.records import MYCELIUM, SUSPECT, Face, MeasuredVessel, PhotoContext, Suspect, VesselSpec
from vision.surface import count_own_colours
from vision.surface.read_face import suspect_mask


def pink_bag(covered: float, pink: float) -> np.ndarray:
    """A drawn bag; a band of its white part, a share of the face's height, is pink."""
    photo = bag_photo("B1", covered).astype(float)
    top = round((70 + 226 * (1 - covered)) * 3) + 20
    band = (slice(top, top + round(226 * 3 * pink)), slice(261, 729))
    photo[band] *= np.array([0.99, 0.70, 0.68])
    return cv2.GaussianBlur(photo.clip(0, 255).astype(np.uint8), (0, 0), 0.7)


def read(species: str, covered: float, pink: float, **more: Any):
    spec = VesselSpec("B1", "bag", species, "sawdust", **more)
    (measured,) = measure_photo(pink_bag(covered, pink), PhotoContext({"B1": spec}))
    return measured


def test_pink_on_pink_oyster_is_mycelium_and_is_reported_as_own_colour() -> None:
    plain, own = read("pink oyster", 0.7, 0.0), read("pink oyster", 0.7, 0.3)
    (suspect,) = own.reading.suspects
    assert (suspect.colour, suspect.own_colour) == ("pink-orange", True)
    # A strip between drawn pink and drawn white is classified as neither.
    assert own.reading.percent == pytest.approx(plain.reading.percent, abs=6)
    assert own.reading.percent_low < own.reading.percent < own.reading.percent_high
    assert not (own.face.classes == SUSPECT).any()
    share = (own.face.classes == MYCELIUM).sum() / np.isin(own.face.classes, (1, 2)).sum()
    assert own.reading.percent == pytest.approx(100 * share, abs=0.1)


def test_pink_on_another_species_is_a_suspect_and_not_colonised() -> None:
    plain, other = read("king oyster", 0.7, 0.0), read("king oyster", 0.7, 0.3)
    (suspect,) = other.reading.suspects
    assert not suspect.own_colour
    assert other.reading.percent < plain.reading.percent - 20


def test_a_colour_of_age_is_a_suspect_on_a_young_face() -> None:
    assert [one.own_colour for one in read("pink oyster", 0.3, 0.1).reading.suspects] == [False]


def test_a_farms_own_strain_has_the_colours_in_its_settings() -> None:
    mine = own_species({"barn strain": SpeciesChange(like="king oyster", colours=("white", "pink from the start"))})
    assert [one.own_colour for one in read("barn strain", 0.3, 0.1, own_species=mine).reading.suspects] == [True]


def in_series(measured_as: str, species: str = "") -> MeasuredVessel:
    """The last of three days of a bag that turns pink, read in series, as the species it was measured as or another."""
    days = [(1.0, 0.0, 0.0), (8.0, 0.5, 0.0), (12.0, 0.7, 0.3)]
    looks = [(day, read(measured_as, covered, pink)) for day, covered, pink in days]
    spec = VesselSpec("B1", "bag", species or measured_as, "sawdust")
    return read_series([SeriesFace(day, one.face, one.reading, 0) for day, one in looks], spec)[-1]


def test_own_colours_count_in_a_series_too_and_only_once() -> None:
    plain, own = read("pink oyster", 0.7, 0.0).reading, in_series("pink oyster")
    assert own.reading.percent == pytest.approx(plain.percent, abs=6)
    assert [one.own_colour for one in own.reading.suspects] == [True]
    assert count_own_colours(own, VesselSpec("B1", "bag", "pink oyster", "sawdust")).reading == own.reading
    assert in_series("king oyster").reading.percent < plain.percent - 20
    assert in_series("pink oyster", "king oyster").reading.percent < plain.percent - 20, "measured as another species"


def test_a_patch_is_found_with_its_white_edge_but_without_a_larger_neighbour() -> None:
    classes = np.ones((200, 200), np.uint8)
    classes[90:120, 90:120] = SUSPECT  # a patch of 10 px with an edge of 10 px
    classes[40:85, 40:160] = SUSPECT
    face = Face(np.zeros((200, 200, 3), np.uint8), classes, classes, 2.0, np.diag([3.0, 3.0, 1.0]), labelled=True)
    found = suspect_mask(Suspect("grey", 0.25, (300, 300, 30, 30), 0.9), face, classes)
    assert found.sum() == 30 * 30
    assert found[105, 105]
    assert not suspect_mask(Suspect("grey", 0.25, (480, 480, 30, 30), 0.9), face, classes).any()
