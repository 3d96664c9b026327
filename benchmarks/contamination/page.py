"""Write a page of all hits, misses and false alarms, with the boxes of true contamination and of flags."""

import base64
import html
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np

from benchmarks.contamination.looks import Box, Look

_STYLE = (
    "body{font:14px sans-serif;margin:1rem}div{display:flex;flex-wrap:wrap;gap:.6rem}"
    "figure{margin:0;width:20rem}img{width:100%}"
)
_SAID = "<p>White: true contamination. Red: flags, with their scores below.</p>"
_SIDE_PX = 340
_TRUE, _FLAG = (255, 255, 255), (60, 60, 255)


def write_page(looks: Sequence[Look], threshold: float, target: Path) -> Path:
    """Write the page; its path."""
    groups = (
        ("False alarms", [one for one in looks if one.flagged(threshold, truly=False)]),
        ("Misses", [one for one in looks if one.is_due and not one.flagged(threshold, truly=True)]),
        ("Hits", [one for one in looks if one.flagged(threshold, truly=True)]),
        ("Not yet due, not flagged", [one for one in looks if _early(one, threshold)]),
    )
    body = "".join(_section(name, group, threshold) for name, group in groups)
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(f"<!DOCTYPE html><meta charset=utf-8><title>Flags</title><style>{_STYLE}</style>{_SAID}{body}")
    return target


def _section(name: str, group: Sequence[Look], threshold: float) -> str:
    figures = "".join(_figure(one, threshold) for one in group if one.photo_file or one.picture)
    return f"<h2>{name} ({len(group)})</h2><div>{figures}</div>"


def _early(one: Look, threshold: float) -> bool:
    return not one.is_clean and not one.is_due and not one.flagged(threshold, truly=True)


def _figure(look: Look, threshold: float) -> str:
    lines = [
        f"{look.scene} {look.vessel} {look.photo}",
        f"true {look.true_cm2:.1f} cm2, of colour {look.true_coloured_cm2:.1f}",
        "; ".join(f"{one.colour} {one.score:.2f}, {one.area_cm2:.1f} cm2" for one in look.flags),
    ]
    source = f"data:image/jpeg;base64,{_picture(look, threshold)}"
    said = "<br>".join(map(html.escape, lines))
    return f'<figure><img src="{source}" alt=""><figcaption>{said}</figcaption></figure>'


def _picture(look: Look, threshold: float) -> str:
    if look.picture:
        return base64.b64encode(look.picture).decode()
    photo = cv2.imread(str(look.photo_file), cv2.IMREAD_COLOR)
    assert photo is not None
    for box in look.truth_boxes:
        _draw(photo, box, _TRUE)
    for flag in look.flags:
        if flag.score >= threshold:
            for box in flag.boxes:
                _draw(photo, box, _FLAG)
    if look.face_box is not None:
        left, top, width, height = look.face_box
        photo = photo[max(0, top - 20) : top + height + 20, max(0, left - 20) : left + width + 20]
    scale = _SIDE_PX / max(photo.shape[:2])
    small = cv2.resize(photo, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    _, jpeg = cv2.imencode(".jpg", np.ascontiguousarray(small), [cv2.IMWRITE_JPEG_QUALITY, 80])
    return base64.b64encode(jpeg.tobytes()).decode()


def _draw(photo: np.ndarray, box: Box, colour: tuple[int, int, int]) -> None:
    left, top, width, height = box
    cv2.rectangle(photo, (left - 3, top - 3), (left + width + 3, top + height + 3), colour, 2)
