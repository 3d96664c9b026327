"""The visible face of a vessel: its outline, its flat frame, whether it can be judged, and the file that keeps it."""

from vision.face.cut_out import (
    STEEP_SHARE,
    FoundFace,
    label_geometry,
    label_mask,
    labelled_frame,
    steep_percent,
    tray_tilt,
    usual_sides,
)
from vision.face.face_file import decode_face, decode_face_picture, encode_face, seen_part
from vision.face.find_labelled import Upright, find_dish, find_upright, with_cut_off
from vision.face.find_unlabelled import ALONE_ROWS, find_alone, find_alone_dish, frame_around, settle_alone
from vision.face.frame import Frame, frame_of
from vision.face.judge import judge_light, judge_sharpness

__all__ = [
    "ALONE_ROWS",
    "STEEP_SHARE",
    "FoundFace",
    "Frame",
    "Upright",
    "decode_face",
    "decode_face_picture",
    "encode_face",
    "find_alone",
    "find_alone_dish",
    "find_dish",
    "find_upright",
    "frame_around",
    "frame_of",
    "judge_light",
    "judge_sharpness",
    "label_geometry",
    "label_mask",
    "labelled_frame",
    "seen_part",
    "settle_alone",
    "steep_percent",
    "tray_tilt",
    "usual_sides",
    "with_cut_off",
]
