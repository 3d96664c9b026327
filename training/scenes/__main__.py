"""Render scenes that the segmenter has never seen, with exact truth.

    python -m training.scenes OUT [E1 E2 ...] [--samples 12] [--scale 1.0] [--photos N] [--variant scalar_rgb]

Needs the extra ``scenes`` (Mitsuba 3). ``scalar_rgb`` runs anywhere; ``llvm_ad_rgb`` is two to three times as fast and
needs an LLVM library of version 16 or later (environment variable DRJIT_LIBLLVM_PATH).
"""

import argparse
import importlib
from pathlib import Path

import cv2
import mitsuba


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("scenes", nargs="*", help="names of scenes, all E if none is given; T0, T1, ... for training")
    parser.add_argument("--samples", type=int, default=12, help="light paths a pixel; 0 writes only the truth")
    parser.add_argument("--scale", type=float, default=1.0, help="size of the pictures against the plan's")
    parser.add_argument("--photos", type=int, default=None, help="only the first few of each series")
    parser.add_argument("--variant", default="scalar_rgb", help="of Mitsuba")
    parser.add_argument("--threads", type=int, default=1)
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    mitsuba.set_variant(arguments.variant)
    if arguments.variant.startswith("llvm"):
        importlib.import_module("drjit").set_thread_count(arguments.threads)
    series = importlib.import_module("training.scenes.series")
    recipes = importlib.import_module("training.scenes.recipes")
    any_plan = importlib.import_module("training.scenes.any_plan").any_plan
    for name in arguments.scenes or list(recipes.SCENES):
        plan = any_plan(int(name[1:])) if name.startswith("T") else recipes.SCENES[name]()
        series.make_series(plan, arguments.out, arguments.samples, arguments.scale, arguments.photos)


if __name__ == "__main__":
    main()
