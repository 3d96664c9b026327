"""Pictures as arrays: loading, colour conversion, exposure, resizing, camera profiles, and running a network."""

from vision.pixels.box import box_of
from vision.pixels.camera_profile import apply_profile
from vision.pixels.colour import decode_srgb8, encode_srgb8, grey_of, linear_to_srgb, luminance
from vision.pixels.light import LinearPicture, linear_from_saved, lit, to_lab, undo_shoulder
from vision.pixels.load import PICTURE_SUFFIXES, load_picture, read_photo
from vision.pixels.picture import MAX_FILE_BYTES, Picture, PictureError
from vision.pixels.run_onnx import network_logits
from vision.pixels.shrink import block_means, reduced, warped

__all__ = [
    "MAX_FILE_BYTES",
    "PICTURE_SUFFIXES",
    "LinearPicture",
    "Picture",
    "PictureError",
    "apply_profile",
    "block_means",
    "box_of",
    "decode_srgb8",
    "encode_srgb8",
    "grey_of",
    "linear_from_saved",
    "linear_to_srgb",
    "lit",
    "load_picture",
    "luminance",
    "network_logits",
    "read_photo",
    "reduced",
    "to_lab",
    "undo_shoulder",
    "warped",
]
