"""The visible face of a vessel: its outline, its rectified frame, whether it can be measured, and its file format."""

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
from vision.face.face_file import decode_face, decode_face_picture, encode_face, pixels_in_photo
from vision.face.find_labelled import Upright, find_dish, find_upright, with_cut_off
from vision.face.find_unlabelled import (
    ALONE_ROWS,
    find_unlabelled,
    frame_around,
    refine_unlabelled,
)
from vision.face.frame import Frame, frame_of
from vision.face.judge import judge_light, judge_sharpness, picture_fault

__all__ = [
    "ALONE_ROWS",
    "STEEP_SHARE",
    "FoundFace",
    "Frame",
    "Upright",
    "decode_face",
    "decode_face_picture",
    "encode_face",
    "find_dish",
    "find_unlabelled",
    "find_upright",
    "frame_around",
    "frame_of",
    "judge_light",
    "judge_sharpness",
    "label_geometry",
    "label_mask",
    "labelled_frame",
    "picture_fault",
    "pixels_in_photo",
    "refine_unlabelled",
    "steep_percent",
    "tray_tilt",
    "usual_sides",
    "with_cut_off",
]
