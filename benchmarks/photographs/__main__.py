"""Print how far readings of real photographs lie outside ranges estimated by hand, for each part of each picture.

    python -m benchmarks.photographs FOLDER [--stops -2 -1 0 1 2]

FOLDER holds photos and annotations.json, which lists the annotated parts of each photo: an outline in pixels (circle or
polygon), the percent covered by growth, the uncertainty of that percent, whether a colour should be flagged, and the
annotator's confidence. Each part is measured without a label, from a box around it, as the most similar kind of vessel.
The column "beyond" says by how many points the percent lies outside the range set by hand, "held" how many bounds meet
that range; "flagged" and "false" how many parts with and without such a colour show a suspect, first of those that were
read, then of all, as a refusal tells of a suspect too. ``--stops`` repeats the table with all pictures taken that much
brighter or darker.
"""

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import mean, median
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import Kind
from vision.photo import measure_photo
from vision.pixels import decode_srgb8, encode_srgb8, load_picture
from vision.records import Box, PhotoContext, Reading, VesselSpec

#: Kind by the first of these words found in a part's name or its photo's folder; else a plate.
KINDS: tuple[tuple[str, Kind], ...] = (
    ("jar", "jar"), ("cup", "jar"), ("bag", "bag"), ("bulk", "bag"), ("mould", "bag"), ("snow", "bag"),
)  # fmt: skip
#: Margin of a box around its part, as a share of the part's longer side.
MARGIN = 0.06
#: Figures use only parts whose estimate has one of these levels of confidence.
TRUSTED = ("high", "medium")


@dataclass(frozen=True)
class Part:
    """A part of a photo, its estimate by hand, and its reading. folder: of its photo."""

    folder: str
    white: float
    give_or_take: float
    coloured: bool
    trust: str
    reading: Reading

    @property
    def beyond(self) -> float | None:
        """Points by which the percent lies outside the range estimated by hand; None if there is no percent."""
        percent = self.reading.percent
        return None if percent is None else max(0.0, abs(percent - self.white) - self.give_or_take)

    @property
    def held(self) -> bool:
        """Whether there are bounds and they meet the range estimated by hand."""
        low, high = self.reading.percent_low, self.reading.percent_high
        if low is None or high is None:
            return False
        return low <= self.white + self.give_or_take and high >= self.white - self.give_or_take


def box_around(outline: dict[str, Any], shape: tuple[int, ...]) -> Box:
    """Left, top, width and height of an outline's box with its margin, cut to a picture (rows, columns, ...)."""
    if outline["type"] == "circle":
        points = np.array(outline["centre_px"]) + np.outer((-1, 1), (outline["radius_px"],) * 2)
    else:
        points = np.array(outline["points_px"])
    low, high = points.min(axis=0), points.max(axis=0)
    margin = MARGIN * float((high - low).max())
    left, top = (max(0, int(value - margin)) for value in low)
    right, bottom = (min(side, int(value + margin)) for side, value in zip(shape[1::-1], high, strict=True))
    return left, top, right - left, bottom - top


def kind_by_name(part: str, folder: str) -> Kind:
    """The kind of vessel that a part is read as."""
    return next((kind for text in (part, folder) for word, kind in KINDS if word in text), "plate")


def exposed(rgb: NDArray[np.uint8], stops: float) -> NDArray[np.uint8]:
    """A picture as if exposed by so many stops more; what is clipped stays so."""
    return rgb if stops == 0 else encode_srgb8(np.asarray(decode_srgb8(rgb) * 2.0**stops, np.float32))


def read_parts(folder: Path, stops: float = 0.0) -> Iterator[Part]:
    """All parts of all photos, exposed by ``stops`` more."""
    for name, known in json.loads((folder / "annotations.json").read_text("utf-8"))["files"].items():
        rgb = exposed(load_picture(folder / name).rgb, stops)
        group = name.split("/")[0]
        for told in known["regions"]:
            spec = VesselSpec("PART", kind_by_name(told["name"], group))
            regions = {"PART": box_around(told["outline"], rgb.shape)}
            (measured,) = measure_photo(rgb, PhotoContext(vessels={"PART": spec}, regions=regions))
            yield Part(
                group, told["white_covered_percent"], told["white_plus_minus"], told["flag_coloured"], told["trust"],
                measured.reading,
            )  # fmt: skip


def row(name: str, parts: list[Part]) -> str:
    """A row of the table."""
    beyond = [part.beyond for part in parts if part.beyond is not None]
    coloured, others = ([part for part in parts if part.coloured is which] for which in (True, False))
    figures = f"{mean(beyond):>8.1f}{median(beyond):>8.1f}" if beyond else f"{'':16}"
    return (
        f"{name:22}{len(beyond):>5} of {len(parts):<4}{figures}{sum(part.held for part in parts):>6}"
        + "".join(_flagged([part for part in some if part.beyond is not None]) for some in (coloured, others))
        + "".join(_flagged(some) for some in (coloured, others))
    )


def _flagged(parts: list[Part]) -> str:
    return f"{sum(bool(part.reading.suspects) for part in parts):>6} of {len(parts):<4}"


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--stops", type=float, nargs="+", default=[0.0])
    arguments = parser.parse_args()
    for stops in arguments.stops:
        parts = list(read_parts(arguments.folder, stops))
        flagged = f"{'flagged':>9}     {'false':>8}     {'of all':>6}     {'false':>8}"
        header = f"{'read':>8}    {'beyond':>8}{'median':>8}{'held':>6}{flagged}"
        print(f"{f'{stops:+g} stops':22}{header}")
        for group in dict.fromkeys(part.folder for part in parts):
            print(row(group, [part for part in parts if part.folder == group and part.trust in TRUSTED]))
        print(row("of high, medium trust", [part for part in parts if part.trust in TRUSTED]))
        print(row("of low trust", [part for part in parts if part.trust not in TRUSTED]), flush=True)


if __name__ == "__main__":
    main()
