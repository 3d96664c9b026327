"""The contents of a backup, and its check: names, sizes and SHA-256 of every part, before anything is written."""

import re
import zipfile
import zlib
from collections import Counter
from hashlib import sha256
from pathlib import Path
from typing import Annotated

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from farm.store.errors import BackupError, NewerFarmError, first_of
from farm.store.schema import SCHEMA_VERSION

MANIFEST = "manifest.json"
RECORDS_PART = "records.sqlite"
SETTINGS_PART = "farm.toml"
CAMERAS_PART = "cameras.json"
#: Version of the archive's own layout.
_LAYOUT = 1
#: A line of the settings that says where the records are kept, however TOML lets its key be written.
RECORDS_SETTING = re.compile(r"""^[ \t]*(?:records|"records"|'records')[ \t]*=.*$""", re.MULTILINE)
_LARGEST_MANIFEST = 1 << 28
_CHUNK = 1 << 20
#: No other name is taken out of an archive: none can lead outside the farm's folder.
_NAMES = re.compile(
    rf"{re.escape(RECORDS_PART)}|{re.escape(SETTINGS_PART)}|{re.escape(CAMERAS_PART)}"
    r"|faces/([0-9a-f]{2})/\1[0-9a-f]{62}-[0-9]{1,6}\.face",
    re.ASCII,
)


class Part(BaseModel):
    """A file in the archive."""

    model_config = ConfigDict(frozen=True)

    name: str
    size: Annotated[int, Field(ge=0)]
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class Manifest(BaseModel):
    """What the archive should hold."""

    model_config = ConfigDict(frozen=True)

    layout: int = _LAYOUT
    program_version: str
    schema_version: int
    made_at: AwareDatetime
    has_faces: bool
    parts: tuple[Part, ...]


def face_part(photo_hash: str, slot: int) -> str:
    """Name of a face in the archive: as in the farm's folder."""
    return f"faces/{photo_hash[:2]}/{photo_hash}-{slot}.face"


def check_archive(source: Path) -> Manifest:
    """The manifest of a backup whose every part is as it was written.

    Raises BackupError naming what is wrong, NewerFarmError for one made by a newer version.
    """
    try:
        with zipfile.ZipFile(source) as archive:
            manifest = _manifest(source, archive)
            if problems := [*_wrong_names(archive, manifest), *_wrong_parts(archive, manifest)]:
                raise BackupError("\n".join([f"{source}: damaged, nothing was touched", *first_of(problems)]))
    except OSError as error:
        raise BackupError(f"{source}: {error.strerror or 'cannot be read'}") from None
    except (zipfile.BadZipFile, NotImplementedError, ValueError) as error:
        raise BackupError(f"{source}: not a backup, or cut short ({error}); nothing was touched") from None
    return manifest


def _manifest(source: Path, archive: zipfile.ZipFile) -> Manifest:
    try:
        info = archive.getinfo(MANIFEST)
        if info.file_size > _LARGEST_MANIFEST:
            raise BackupError(f"{source}: its {MANIFEST} is too large to be one; nothing was touched")
        manifest = Manifest.model_validate_json(archive.read(info))
    except KeyError:
        raise BackupError(f"{source}: not a backup, or cut short (no {MANIFEST} in it); nothing was touched") from None
    except (ValidationError, zlib.error, EOFError, RuntimeError):
        raise BackupError(f"{source}: its {MANIFEST} is damaged; nothing was touched") from None
    if manifest.layout > _LAYOUT or manifest.schema_version > SCHEMA_VERSION:
        raise NewerFarmError(
            f"{source}: made by spawnrun {manifest.program_version}, records of version {manifest.schema_version}; "
            f"this program knows {SCHEMA_VERSION}: update it"
        )
    return manifest


def _wrong_names(archive: zipfile.ZipFile, manifest: Manifest) -> list[str]:
    promised = Counter(part.name for part in manifest.parts)
    found = Counter(name for name in archive.namelist() if name != MANIFEST)
    names = sorted(promised | found)
    problems = [f"{name!r}: no name that a backup has" for name in names if not _NAMES.fullmatch(name)]
    problems += [f"{name!r}: stands there twice" for name in names if max(promised[name], found[name]) > 1]
    problems += [f"{name!r}: missing" for name in names if not found[name]]
    problems += [f"{name!r}: not in its {MANIFEST}" for name in names if not promised[name]]
    missing = {RECORDS_PART, SETTINGS_PART} - promised.keys()
    return problems + [f"{name!r}: no farm without it" for name in sorted(missing)]


def _wrong_parts(archive: zipfile.ZipFile, manifest: Manifest) -> list[str]:
    present = set(archive.namelist())
    return [fault for part in manifest.parts if part.name in present and (fault := _fault(archive, part))]


def _fault(archive: zipfile.ZipFile, part: Part) -> str:
    """What is wrong with a part, read no further than its promised size; "" if nothing."""
    digest, size = sha256(), 0
    try:
        with archive.open(part.name) as content:
            while size <= part.size and (piece := content.read(_CHUNK)):
                digest.update(piece)
                size += len(piece)
    except (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, NotImplementedError, OSError, ValueError) as error:
        return f"{part.name!r}: cannot be read ({error})"
    if size != part.size:
        return f"{part.name!r}: not of its size ({part.size} bytes)"
    return "" if digest.hexdigest() == part.sha256 else f"{part.name!r}: its SHA-256 is another"
