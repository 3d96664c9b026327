"""From a folder of photos to kept readings: find photos, run vision on them, read a vessel's series again."""

from farm.measure.batch import BatchOptions, MeasuredPhoto, measure_paths, read_layout
from farm.measure.photos import content_hash, find_photos
from farm.measure.series import read_stale_series
from farm.measure.vision_port import Eyes, open_eyes
from farm.measure.watch import Arrivals, watch_folder

__all__ = [
    "Arrivals",
    "BatchOptions",
    "Eyes",
    "MeasuredPhoto",
    "content_hash",
    "find_photos",
    "measure_paths",
    "open_eyes",
    "read_layout",
    "read_stale_series",
    "watch_folder",
]
