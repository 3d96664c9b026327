"""From a folder of photos to kept readings: find photos, run vision on them, read a vessel's series again."""

from farm.measure.label_texts import label_texts
from farm.measure.photos import content_hash, find_photos
from farm.measure.run import MeasuredPhoto, RunOptions, measure_paths, read_layout
from farm.measure.series import read_stale_series
from farm.measure.vision_functions import Vision, load_vision
from farm.measure.watch import Arrivals, watch_folder

__all__ = [
    "Arrivals",
    "MeasuredPhoto",
    "RunOptions",
    "Vision",
    "content_hash",
    "find_photos",
    "label_texts",
    "load_vision",
    "measure_paths",
    "read_layout",
    "read_stale_series",
    "watch_folder",
]
