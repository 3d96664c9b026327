"""Vessel labels in a photo: found, read, placed, and the white they show."""

from vision.label.labels import QR_CODES, Label, find_labels
from vision.label.pose import settle_label, upright_sticker
from vision.label.vessel_names import ExpectedLabels, spec_of, unknown_label
from vision.label.white import white_at_label

__all__ = [
    "QR_CODES",
    "ExpectedLabels",
    "Label",
    "find_labels",
    "settle_label",
    "spec_of",
    "unknown_label",
    "upright_sticker",
    "white_at_label",
]
