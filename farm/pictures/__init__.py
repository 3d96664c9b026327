"""Pictures of what was measured: faces, strips over days, crops of suspects."""

from farm.pictures.face_pictures import check_class_map_folder, write_class_maps
from farm.pictures.kept_faces import damaged_face_jpeg, small_face_jpeg
from farm.pictures.strips import PictureSizes, VesselPictures, vessel_pictures
from farm.pictures.suspect_pictures import (
    SpotView,
    crop_jpeg,
    lacks_picture,
    ringed_jpeg,
    save_crops,
    spot_views,
)

__all__ = [
    "PictureSizes",
    "SpotView",
    "VesselPictures",
    "check_class_map_folder",
    "crop_jpeg",
    "damaged_face_jpeg",
    "lacks_picture",
    "ringed_jpeg",
    "save_crops",
    "small_face_jpeg",
    "spot_views",
    "vessel_pictures",
    "write_class_maps",
]
