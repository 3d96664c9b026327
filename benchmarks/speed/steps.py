"""Time of each step of reading one photo, by timing the functions that do the steps."""

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any
from unittest.mock import patch

import vision.face.frame
import vision.photo.measure
import vision.photo.measure_face
import vision.pixels.load
import vision.surface.read_face
import vision.surface.segment
from vision.records import PhotoContext

#: Steps, and the functions (module and name) that do them. Time of a step inside another is not counted twice.
STEPS: tuple[tuple[str, Any, tuple[str, ...]], ...] = (
    ("read and decode the file", vision.pixels.load, ("_jpeg",)),
    ("EXIF: time, camera, size", vision.photo.measure, ()),
    ("grey picture", vision.photo.measure, ("grey_of",)),
    ("find and read labels", vision.photo.measure, ("find_labels",)),
    ("refine label positions", vision.photo.measure, ("settle_label",)),
    ("cut faces out", vision.face.frame.Frame, ("cut", "inside_photo")),
    ("white from the labels", vision.photo.measure, ("white_at_label",)),
    ("outlines", vision.photo.measure, ("find_upright", "find_dish")),
    ("light and sharpness", vision.photo.measure_face, ("judge_light", "judge_sharpness")),
    ("input of the network", vision.surface.segment, ("face_planes", "face_facts", "stack_planes")),
    ("the network", vision.surface.segment, ("run_network",)),
    ("network output to class map", vision.photo.measure_face, ("segment_within",)),
    ("suspects", vision.surface.segment, ("find_suspect_patches",)),
    ("percent, bounds, class map", vision.photo.measure_face, ("fill_reading",)),
)
LOADING, REST = "EXIF: time, camera, size", "the rest"


class _Clock:
    """Seconds by step, each without the steps inside it."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = {}
        self._within = [0.0]

    def around(self, step: str, work: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*arguments: Any, **named: Any) -> Any:  # noqa: ANN401 - whatever the function takes and gives
            self._within.append(0.0)
            begun = time.process_time()
            try:
                return work(*arguments, **named)
            finally:
                taken = time.process_time() - begun
                self.spent[step] = self.spent.get(step, 0.0) + taken - self._within.pop()
                self._within[-1] += taken

        return timed


def time_steps(photo: Path, context: PhotoContext) -> dict[str, float]:
    """Seconds of processor time by step of one reading, loading included; they add up to the whole."""
    clock = _Clock()
    with _clocks(clock):
        load = clock.around(LOADING, vision.pixels.load.load_picture)
        measure = clock.around(REST, vision.photo.measure.measure_photo)
        measure(load(photo).rgb, context)
    return clock.spent


@contextmanager
def _clocks(clock: _Clock) -> Iterator[None]:
    with ExitStack() as stack:
        for step, place, names in STEPS:
            for name in names:
                stack.enter_context(patch.object(place, name, clock.around(step, getattr(place, name))))
        yield
