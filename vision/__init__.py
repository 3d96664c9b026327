"""From a photo to readings: load, judge, find labels, correct colour, find faces, segment, measure, find anomalies."""

from vision.chart import SeenChart
from vision.check_camera import CameraLook, SeenLabel, look_at_camera, without_shoulder
from vision.colony import Colony, measure_colonies
from vision.face_file import decode_face, decode_face_picture, encode_face
from vision.flags import FLAGS
from vision.load import PICTURE_SUFFIXES, Picture, PictureError, load_picture
from vision.measure import measure_photo
from vision.own_colours import count_own_colours
from vision.paint import draw_overlay, paint_classes
from vision.records import (
    Face,
    MeasuredVessel,
    PhotoContext,
    Reading,
    Sign,
    Suspect,
    VesselSpec,
)
from vision.series import BARE_FIRST_PERCENT, SeriesFace, read_series
from vision.signs import find_signs

__all__ = [
    "BARE_FIRST_PERCENT",
    "FLAGS",
    "PICTURE_SUFFIXES",
    "CameraLook",
    "Colony",
    "Face",
    "MeasuredVessel",
    "PhotoContext",
    "Picture",
    "PictureError",
    "Reading",
    "SeenChart",
    "SeenLabel",
    "SeriesFace",
    "Sign",
    "Suspect",
    "VesselSpec",
    "count_own_colours",
    "decode_face",
    "decode_face_picture",
    "draw_overlay",
    "encode_face",
    "find_signs",
    "load_picture",
    "look_at_camera",
    "measure_colonies",
    "measure_photo",
    "paint_classes",
    "read_series",
    "without_shoulder",
]
