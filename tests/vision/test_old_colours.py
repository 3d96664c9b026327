"""A coloured patch that a vessel had before a mould can be visible is a suspect only if it grows or moves."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from skimage.color import lab2rgb

from vision.days.old_colours import lab_of, without_old_colours
from vision.days.past import FirstDay, at_compared_scale, old_patches
from vision.records import BARE, Face
from vision.surface.suspects import SuspectPatch

SHAPE, PX_PER_MM = (240, 260), 2.0


def patch(row: int, column: int, side: int) -> SuspectPatch:
    mask = np.zeros(SHAPE, bool)
    mask[row : row + side, column : column + side] = True
    return SuspectPatch("pink-orange", mask, side**2 / PX_PER_MM**2 / 100, 0.9)


@dataclass(frozen=True)
class Day:
    days: float
    face: Face
    suspects: tuple[SuspectPatch, ...]

    def as_first(self) -> FirstDay:
        inside = at_compared_scale(np.ones(SHAPE, bool), PX_PER_MM)
        patches = old_patches(self.suspects, PX_PER_MM)
        return FirstDay(self.days, self.face.labelled, SHAPE, inside, lab_of(self.face), patches)


def day(days: float, *patches: SuspectPatch, labelled: bool = True) -> Day:
    """A grey face with patches; grey, so that no patch has its colour in the picture of another day."""
    classes = np.full(SHAPE, BARE, np.uint8)
    return Day(
        days, Face(np.full((*SHAPE, 3), 90, np.uint8), classes, classes, PX_PER_MM, np.eye(3), labelled), patches
    )


def kept(first: Day, later: Day) -> tuple[int, int]:
    """Number of suspects that stay on the first day and on the later one."""
    known = first.as_first()
    return tuple(len(without_old_colours(one.suspects, one.face, known)) for one in (first, later))  # type: ignore[return-value]


def test_tape_that_keeps_its_place_and_size_is_not_a_suspect():
    assert kept(day(0.5, patch(40, 60, 40)), day(9, patch(40, 60, 40))) == (0, 0)


def test_faces_of_two_days_may_be_shifted_by_some_millimetres():
    assert kept(day(0.5, patch(40, 60, 40)), day(9, patch(46, 66, 40))) == (0, 0)


@pytest.mark.parametrize(
    ("later", "why"),
    [
        (patch(40, 60, 72), "it has grown to more than three times its area"),
        (patch(150, 190, 40), "it lies elsewhere on the face"),
    ],
)
def test_a_patch_that_grows_or_moves_stays_a_suspect(later, why):
    assert kept(day(0.5, patch(40, 60, 40)), day(9, later)) == (0, 1), why


def test_a_late_first_photo_removes_no_suspect():
    assert kept(day(5, patch(40, 60, 40)), day(9, patch(40, 60, 40))) == (1, 1)


def test_without_a_label_the_place_on_the_face_is_unknown():
    assert kept(day(0.5, patch(40, 60, 40), labelled=False), day(9, patch(40, 60, 40), labelled=False)) == (1, 1)


def coloured(taken: Day, labs, where: SuspectPatch) -> Day:
    """The day with a patch of one colour on a ground of another; labs: CIELAB of patch and ground."""
    picture = np.broadcast_to(np.array(labs[1], np.float64), (*SHAPE, 3)).copy()
    picture[where.mask] = labs[0]
    rgb = np.round(lab2rgb(picture) * 255).astype(np.uint8)
    return replace(taken, face=replace(taken.face, rgb=rgb))


BROWN, ORANGE = (34, 13, 19), (55, 21, 27)


@pytest.mark.parametrize(
    ("then", "now", "stays", "why"),
    [
        ((BROWN, BROWN), (ORANGE, BROWN), True, "brown grain has become orange: much lighter, in hardly another hue"),
        ((BROWN, BROWN), (BROWN, (88, 0, 4)), False, "bare grain shows between mycelium as it was"),
        ((ORANGE, (40, 2, 4)), ((76, 19, 24), (88, 0, 4)), False, "tape that stood out brightens with what is behind"),
        (((40, 2, 4), (40, 2, 4)), (ORANGE, (88, 0, 4)), True, "there was no colour before"),
    ],
)
def test_a_patch_is_old_only_if_it_looked_so_in_the_first_photo(then, now, stays, why):
    spot = patch(80, 80, 60)
    first, later = coloured(day(0.5), then, spot), coloured(day(9, spot), now, spot)
    assert kept(first, later) == (0, int(stays)), why
