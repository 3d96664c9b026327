"""Classify the surface of a face: bare substrate, mycelium, suspects; and turn that into a reading."""

from vision.surface.bare_substrate import Baseline, as_triple, learn_baseline
from vision.surface.colony import measure_colonies
from vision.surface.own_colours import count_own_colours
from vision.surface.read_face import fill_reading, mask_box, segment_within, suspect_mask
from vision.surface.segment import FaceSegmentation
from vision.surface.suspects import SuspectPatch

__all__ = [
    "Baseline",
    "FaceSegmentation",
    "SuspectPatch",
    "as_triple",
    "count_own_colours",
    "fill_reading",
    "learn_baseline",
    "mask_box",
    "measure_colonies",
    "segment_within",
    "suspect_mask",
]
