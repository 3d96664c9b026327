"""Vision that decodes readings painted into a tiny picture, so that a test defines what each photo shows."""

import json
import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
from PIL import Image

from calibration import vessel_and_side
from farm.measure import Vision, load_vision
from vision.days import SeriesFace
from vision.records import Face, MeasuredVessel, PhotoContext, Reading, Suspect, VesselSpec

#: A painted "percent" of a photo that bears none; with a suspect its face is kept to be looked at.
NO_PERCENT = 200


def paint(path: Path, *vessels: tuple[str, int] | tuple[str, int, int]) -> Path:
    """Write a tiny PNG that encodes for each vessel its id, percent, and suspect area in cm2."""
    rows = np.zeros((max(1, len(vessels)), 20, 3), np.uint8)
    for row, (vessel, percent, *area) in zip(rows, vessels, strict=False):
        row[:2] = [(255, percent, area[0] if area else 0), (len(vessel), 0, 0)]
        row[2 : 2 + len(vessel), 0] = list(vessel.encode())
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(rows).save(path, "PNG")
    return path


def read_paint(rgb: np.ndarray, context: PhotoContext) -> tuple[MeasuredVessel, ...]:
    measured = []
    for row in rgb:
        if row[0, 0] != 255:
            measured.append(MeasuredVessel(Reading(context.owner, None, "unusable", reason="retake: no vessel in it")))
            continue
        percent, area = float(row[0, 1]), float(row[0, 2])
        vessel = bytes(row[2 : 2 + row[1, 0], 0].tolist()).decode()
        vessel, side = vessel_and_side(vessel, context.vessels)
        if vessel not in context.vessels:
            measured.append(MeasuredVessel(Reading(vessel, None, "unidentified", reason="no such vessel")))
            continue
        suspects = (Suspect("green", area, (2, 3, 4, 5), 0.9),) if area else ()
        reading = Reading(
            vessel,
            context.vessels[vessel].kind,
            "ok",
            percent=percent,
            percent_low=max(0.0, percent - 3),
            percent_high=min(100.0, percent + 3),
            hidden_percent=1.0,
            mm_per_px=0.5,
            face_box=(0, 0, 30, 40),
            suspects=suspects,
            side=side,
        )
        classes = np.full((40, 30), 2, np.uint8)
        face = Face(np.full((40, 30, 3), int(percent), np.uint8), classes, classes, 3.0, np.eye(3), True)
        if percent == NO_PERCENT:
            told = "retake: it cannot be told"
            refused = replace(
                reading, status="unusable", reason=told, percent=None, percent_low=None, percent_high=None
            )
            measured.append(MeasuredVessel(refused, refused_face=face if suspects else None))
            continue
        measured.append(MeasuredVessel(reading, face))
    return tuple(measured)


def never_falls(
    before: bytes | None, faces: Sequence[SeriesFace], spec: VesselSpec, mates: Sequence[Face] = ()
) -> tuple[tuple[MeasuredVessel, ...], bytes]:
    """A simple second pass: within a phase no reading is below an earlier one."""
    highest = {int(phase): percent for phase, percent in json.loads(before or b"{}").items()}
    measured = []
    for one in faces:
        percent = max(highest.get(one.phase, 0.0), one.reading.percent or 0.0)
        highest[one.phase] = percent
        measured.append(MeasuredVessel(replace(one.reading, percent=percent), one.face))
    return tuple(measured), json.dumps(highest).encode()


def as_they_are(
    before: bytes | None, faces: Sequence[SeriesFace], spec: VesselSpec, mates: Sequence[Face] = ()
) -> tuple[tuple[MeasuredVessel, ...], bytes]:
    """No second pass at all: readings as each photo gave them."""
    return tuple(MeasuredVessel(one.reading, one.face) for one in faces), b"nothing"


def painted_vision() -> Vision:
    """The farm's vision with the measurement replaced."""
    return replace(load_vision(), measure_photo=read_paint, continue_series=never_falls)


def at(path: Path, moment: str) -> Path:
    """Set the time of a file."""
    seconds = datetime.fromisoformat(moment).timestamp()
    os.utime(path, (seconds, seconds))
    return path
