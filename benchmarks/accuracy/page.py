"""A page of overlays: truth and reading of each vessel in each photo."""

import html
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.accuracy.scenes import Result
from vision.photo import paint_classes
from vision.pixels import load_picture

#: Colours of bare, mycelium and contaminated, and of pixels that are mycelium only in the truth or only in the reading.
_MISSED, _MADE_UP, _CONTAMINATED = (255, 60, 0), (0, 110, 255), (200, 0, 160)
_WIDTH_PX = 300


def write_page(results: Sequence[Result], folder: Path) -> Path:
    """Write ``index.html`` with one picture for each result, largest error first; the path of the page."""
    folder.mkdir(parents=True, exist_ok=True)
    read = [one for one in results if one.series is not None]
    read.sort(key=lambda one: -abs((one.series.reading.percent or 0) - one.case.percent) if one.series else 0)
    cards = []
    for number, one in enumerate(read):
        name = f"{number:04d}.jpg"
        cv2.imwrite(str(folder / name), _picture(one)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])
        cards.append(_card(one, name))
    missed = [one for one in results if one.series is None]
    unread = "".join(
        f"<li>{html.escape(one.case.vessel)} in {html.escape(str(one.case.photo.name))}</li>" for one in missed
    )
    page = folder / "index.html"
    page.write_text(
        "<!doctype html><meta charset=utf-8><title>Truth beside reading</title>"
        "<style>body{font:14px sans-serif}figure{display:inline-block;margin:6px;vertical-align:top}</style>"
        "<p>Orange: mycelium that was missed. Blue: called mycelium and is not. Pink: contaminated. Worst first.</p>"
        f"{''.join(cards)}<h2>Not read</h2><ul>{unread}</ul>",
        encoding="utf-8",
    )
    return page


def _card(one: Result, name: str) -> str:
    assert one.series is not None
    reading = one.series.reading
    said = f"{reading.percent:.1f} ({reading.percent_low:.0f}-{reading.percent_high:.0f})"
    words = f"{one.case.scene} {one.case.photo.name} {one.case.vessel}: true {one.case.percent:.1f}, read {said}"
    return f'<figure><img src="{name}" alt=""><figcaption>{html.escape(words)}</figcaption></figure>'


def _picture(one: Result) -> NDArray[np.uint8]:
    """The vessel's part of the photo with the outline as found and the pixels where truth and reading differ."""
    assert one.series is not None
    rgb = load_picture(one.case.photo).rgb.copy()
    true = one.case.true_classes()
    said = paint_classes((true.shape[0], true.shape[1]), (one.series,))
    for mask, colour in (
        ((true == 2) & (said != 2), _MISSED),
        ((said == 2) & (true != 2), _MADE_UP),
        (said == 3, _CONTAMINATED),
    ):
        rgb[mask] = (0.45 * rgb[mask] + 0.55 * np.array(colour)).astype(np.uint8)
    for mask, colour in (((said >= 1) & (said <= 4), (255, 170, 0)), ((true >= 1) & (true <= 3), (0, 200, 0))):
        curves, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        cv2.drawContours(rgb, curves, -1, colour, 1)
    rows, columns = np.nonzero((said > 0) | (true > 0))
    part = rgb[max(rows.min() - 8, 0) : rows.max() + 8, max(columns.min() - 8, 0) : columns.max() + 8]
    factor = _WIDTH_PX / part.shape[1]
    return np.asarray(cv2.resize(part, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA), np.uint8)
