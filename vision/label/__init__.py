"""Find and read vessel labels in a photo, locate them exactly, and measure white by their grey patches."""

from vision.label.labels import QR_CODES, Label, find_labels
from vision.label.pose import rectified_sticker, settle_label
from vision.label.vessel_names import ExpectedLabels, spec_of, unknown_label_reason
from vision.label.white import grey_patches, white_at_label

__all__ = [
    "QR_CODES",
    "ExpectedLabels",
    "Label",
    "find_labels",
    "grey_patches",
    "rectified_sticker",
    "settle_label",
    "spec_of",
    "unknown_label_reason",
    "white_at_label",
]
