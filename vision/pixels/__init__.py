"""Pictures as arrays: loading, colour, light, sizes, camera profiles, and running a network on them."""

from vision.pixels.camera_profile import with_profile
from vision.pixels.colour import decode_srgb8, grey_of, linear_to_srgb, luminance
from vision.pixels.light import LitPicture, lit, lit_again, to_lab, undo_shoulder
from vision.pixels.load import PICTURE_SUFFIXES, Picture, PictureError, load_picture
from vision.pixels.network import network_logits
from vision.pixels.shrink import averaged, reduced

__all__ = [
    "PICTURE_SUFFIXES",
    "LitPicture",
    "Picture",
    "PictureError",
    "averaged",
    "decode_srgb8",
    "grey_of",
    "linear_to_srgb",
    "lit",
    "lit_again",
    "load_picture",
    "luminance",
    "network_logits",
    "reduced",
    "to_lab",
    "undo_shoulder",
    "with_profile",
]
