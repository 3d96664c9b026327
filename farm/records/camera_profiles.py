"""The cameras of a farm: a profile of each one whose colours were found worth correcting, in one small file."""

import json
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pydantic import TypeAdapter, ValidationError

from calibration import CameraProfile
from farm.store import replace_file
from farm.store.errors import SettingsError

if TYPE_CHECKING:
    from farm.store import Farm

CAMERAS_FILE = "cameras.json"
_PROFILES = TypeAdapter(list[CameraProfile])


def load_profiles(farm: "Farm") -> dict[str, CameraProfile]:
    """Profiles by make and model; {} where none was kept. Raises SettingsError for a file that cannot be understood."""
    source = farm.folder / CAMERAS_FILE
    try:
        return {profile.camera: profile for profile in _PROFILES.validate_json(source.read_bytes())}
    except FileNotFoundError:
        return {}
    except ValidationError:
        raise SettingsError(f"{source}: not a file of camera profiles; delete it and calibrate again") from None


def keep_profile(farm: "Farm", profile: CameraProfile) -> Path:
    """Keep a camera's profile in place of an earlier one; the file it is in."""
    return _write(farm, (load_profiles(farm) | {profile.camera: profile}).values())


def update_profile(farm: "Farm", profile: CameraProfile) -> Literal["kept", "forgotten", "not needed"]:
    """Keep a camera's profile if it helps; else forget the one it had, since its photos are measured as they are."""
    if profile.helps:
        keep_profile(farm, profile)
        return "kept"
    return "forgotten" if forget_profile(farm, profile.camera) else "not needed"


def forget_profile(farm: "Farm", camera: str) -> bool:
    """Forget a camera's profile; whether there was one."""
    known = load_profiles(farm)
    if known.pop(camera, None) is None:
        return False
    _write(farm, known.values())
    return True


def _write(farm: "Farm", profiles: Iterable[CameraProfile]) -> Path:
    target = farm.folder / CAMERAS_FILE
    text = json.dumps(_PROFILES.dump_python(list(profiles), mode="json"), indent=1, ensure_ascii=False)
    replace_file(target, text.encode())
    return target
