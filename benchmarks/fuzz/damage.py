"""Damage photos as cards, cables and disks do, and hold each number that is still read against the undamaged photo's.

    python -m benchmarks.fuzz.damage --files 5000 --seed 1
    python -m benchmarks.fuzz.damage --kinds jpeg --files 3000 --seed 2
    python -m benchmarks.fuzz.damage --whole PHOTOS --crops 5     # undamaged ones: how many are refused

Photos of the demo (rendered, labelled jars) in each format, some with the small copy that cameras keep in the file.
Damage: changed bits, bytes, lengths; pieces cut out, doubled, taken from another photo; sectors of zeros or of another
file; the end missing. Off is where the undamaged reading lies outside the damaged one's bounds by more than a point.
Exit code 1 where that is so without a flag, or where a process ended.
"""

import argparse
import io
import random
import struct
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

import numpy as np
from PIL import Image

from benchmarks.fuzz.mutate import mutated
from farm.measure import load_vision
from farm.measure.vision_functions import measure_one
from farm.workers import Work, run_jobs
from vision.pixels import PictureError, load_picture
from vision.records import PhotoContext, Reading, VesselSpec

_JARS = Path(__file__).parents[2] / "sample_images" / "photos" / "jars"
_SECTOR = 512
_SPARE_POINTS = 1.0
_FLAGS_OF_FILES = {"unchecked_file", "reduced"}


@dataclass(frozen=True)
class Damaged:
    """A damaged file: its kind, the number it is made from, and which of the photos it was."""

    kind: str
    number: int
    photo: int
    seed: int


def main() -> int:
    """Run and print; 1 if a number was off without a flag, or a process ended."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for the files whose number was off")
    parser.add_argument("--kinds", default="", help="only kinds whose name begins so")
    parser.add_argument(
        "--whole", type=Path, help="folder of undamaged JPEGs: tell which are refused, and nothing else"
    )
    parser.add_argument("--crops", type=int, default=5, help="of each undamaged picture, at other places of the blocks")
    chosen = parser.parse_args()
    if chosen.whole:
        return _refused_undamaged(sorted(chosen.whole.rglob("*.jpg")), chosen.crops, chosen.seed)
    kinds = [kind for kind in _MAKERS if kind.startswith(chosen.kinds)]
    jobs = [
        Damaged(kinds[number % len(kinds)], number, number // len(kinds) % len(_photos()), chosen.seed)
        for number in range(chosen.files)
    ]
    counts: dict[str, Counter[str]] = {kind: Counter() for kind in kinds}
    for job, outcome in run_jobs(Work(judge, lost=_ended), jobs, workers=chosen.workers):
        counts[job.kind][outcome] += 1
        if chosen.keep and outcome.startswith("off"):
            chosen.keep.mkdir(parents=True, exist_ok=True)
            name = f"{job.kind.replace(' ', '-')}-{job.number}"
            (chosen.keep / name).write_bytes(damaged(job))
    return _print(counts)


def _refused_undamaged(paths: list[Path], n_crops: int, seed: int) -> int:
    """Load each photo as it is, and cut and saved anew without a small copy; 1 if one is refused."""
    chance, refused = random.Random(f"{seed} whole"), 0
    for path in paths:
        with Image.open(path) as image:
            whole = image.convert("RGB")
        for content in [path.read_bytes(), *(_cut(whole, chance) for _ in range(n_crops))]:
            try:
                load_picture(content)
            except PictureError as error:
                refused += 1
                print(f"{path.name}: {error}")
    print(f"{refused} of {len(paths) * (1 + n_crops)} undamaged pictures refused")
    return 1 if refused else 0


def _cut(image: Image.Image, chance: random.Random) -> bytes:
    left, top = chance.randrange(16), chance.randrange(16)
    buffer = io.BytesIO()
    coding = {"quality": chance.choice((75, 85, 92, 97)), "subsampling": chance.choice((0, 1, 2, 2))}
    image.crop((left, top, image.width, image.height)).save(buffer, "JPEG", **coding, progressive=chance.random() < 0.3)
    return buffer.getvalue()


_OUTCOMES = ("refused", "the same pixels", "within bounds", "no number", "off, flagged", "off", "process ended")


def _print(counts: dict[str, Counter[str]]) -> int:
    print(f"{'kind':22}" + "".join(f"{outcome:>16}" for outcome in _OUTCOMES))
    for kind, found in [*counts.items(), ("all", sum(counts.values(), Counter()))]:
        print(f"{kind:22}" + "".join(f"{found[outcome]:16}" for outcome in _OUTCOMES))
    bad = sum(found[outcome] for found in counts.values() for outcome in ("off", "process ended"))
    return 1 if bad else 0


def judge(job: Damaged) -> str:
    """What becomes of a damaged file; one of ``_OUTCOMES``."""
    content = damaged(job)
    if content in [_MAKERS[job.kind](photo) for photo in range(len(_photos()))]:
        return "the same pixels"  # an older photo in place of all of it is not damaged
    whole, pixels = _whole(job.kind, job.photo)
    try:
        picture = load_picture(content)
    except PictureError:
        return "refused"
    if picture.rgb.shape == pixels.shape and np.array_equal(picture.rgb, pixels):
        return "the same pixels"
    result = measure_one(load_vision(), content, _context())
    found = {one.vessel: one for one in result.readings}
    worst = "no number"
    for vessel, meant in whole.items():
        one = found.get(vessel)
        if one is None or one.percent is None or meant.percent is None:
            continue
        if _is_within(one, meant.percent):
            worst = "within bounds" if worst == "no number" else worst
        elif set(one.flags) - set(meant.flags) or _FLAGS_OF_FILES & set(one.flags):
            worst = worst if worst == "off" else "off, flagged"
        else:
            worst = "off"
    return worst


def _ended(_: Damaged) -> str:
    return "process ended"


def _is_within(one: Reading, percent: float) -> bool:
    if one.percent_low is None or one.percent_high is None:
        return False
    return one.percent_low - _SPARE_POINTS <= percent <= one.percent_high + _SPARE_POINTS


def _context() -> PhotoContext:
    specs = {f"J{number:03}": VesselSpec(f"J{number:03}", "jar", "oyster", "rye grain") for number in range(1, 20)}
    return PhotoContext(vessels=specs)


@cache
def _photos() -> tuple[Path, ...]:
    return tuple(sorted(_JARS.iterdir())[2:8:2])


@cache
def _whole(kind: str, photo: int) -> tuple[dict[str | None, Reading], np.ndarray]:
    """The readings of an undamaged file with a percent, by vessel, and its pixels."""
    content = _MAKERS[kind](photo)
    result = measure_one(load_vision(), content, _context())
    read = {one.vessel: one for one in result.readings if one.percent is not None}
    assert read, f"{kind}: nothing is read from the undamaged photo"
    return read, load_picture(content).rgb


@cache
def _image(photo: int) -> Image.Image:
    with Image.open(_photos()[photo]) as image:
        return image.convert("RGB")


def _saved(photo: int, kind: str, **how: object) -> bytes:
    buffer = io.BytesIO()
    _image(photo).save(buffer, kind, **how)
    return buffer.getvalue()


def with_small_copy(image: Image.Image, quality: int = 88) -> bytes:
    """A JPEG with the small copy of it that cameras keep in its EXIF (CIPA DC-008, second directory)."""
    small = image.copy()
    small.thumbnail((160, 160))
    buffer = io.BytesIO()
    small.save(buffer, "JPEG")
    copy = buffer.getvalue()
    start = 8 + 6 + 2 + 3 * 12 + 4
    entries = [(0x103, 3, 6), (0x201, 4, start), (0x202, 4, len(copy))]  # JPEG; where it lies; how long it is
    tags = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in entries)
    exif = b"II*\0" + struct.pack("<IHI", 8, 0, 14) + struct.pack("<H", 3) + tags + struct.pack("<I", 0) + copy
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=quality, exif=b"Exif\0\0" + exif)
    return buffer.getvalue()


def _heic(photo: int, *, rows: bool) -> bytes:
    import pillow_heif

    buffer = io.BytesIO()
    coding = {} if rows else {"x265:wpp": "0"}  # without marks at the rows of blocks
    pillow_heif.from_pillow(_image(photo)).save(buffer, quality=60, enc_params=coding)
    return buffer.getvalue()


_MAKERS: dict[str, Callable[[int], bytes]] = {
    "jpeg, as a phone's": cache(lambda photo: with_small_copy(_image(photo))),
    "jpeg, no small copy": cache(partial(_saved, kind="JPEG", quality=88)),
    "jpeg, progressive": cache(partial(_saved, kind="JPEG", quality=88, progressive=True)),
    "png": cache(partial(_saved, kind="PNG", compress_level=1)),
    "heic": cache(partial(_heic, rows=True)),
    "heic, no rows": cache(partial(_heic, rows=False)),
    "webp": cache(partial(_saved, kind="WEBP", quality=85, method=0)),
    "tiff": cache(partial(_saved, kind="TIFF", compression="tiff_lzw")),
}


def damaged(job: Damaged) -> bytes:
    """The content of a damaged file; the same for the same seed and number."""
    chance = random.Random(f"{job.seed} {job.number}")
    content = _MAKERS[job.kind](job.photo)
    other = _MAKERS[job.kind]((job.photo + 1) % len(_photos()))
    return chance.choice(_DAMAGES)(content, chance, other)


def _anything(content: bytes, chance: random.Random, other: bytes) -> bytes:
    return mutated(content, chance, (other,))


def _bits(content: bytes, chance: random.Random, _: bytes) -> bytes:
    changed = bytearray(content)
    for _n in range(chance.choice((1, 1, 1, 3))):
        changed[chance.randrange(len(changed))] ^= 1 << chance.randrange(8)
    return bytes(changed)


def _sectors(content: bytes, chance: random.Random, other: bytes) -> bytes:
    """Some sectors as a bad card gives them back: zeros, ones, or those of another file."""
    at = chance.randrange(max(1, len(content) // _SECTOR)) * _SECTOR
    length = _SECTOR * chance.choice((1, 1, 8, 64))
    put = chance.choice((b"\0" * length, b"\xff" * length, other[at : at + length]))
    return content[:at] + put[: len(content) - at] + content[at + length :]


def _end_missing(content: bytes, chance: random.Random, other: bytes) -> bytes:
    """Pulled while it was written: the room is taken, the rest is empty or from an older file."""
    at = chance.randrange(len(content) // _SECTOR + 1) * _SECTOR
    rest = len(content) - at
    return content[:at] + chance.choice((b"", b"\0" * rest, (other[at:] + b"\0" * rest)[:rest]))


_DAMAGES: tuple[Callable[[bytes, random.Random, bytes], bytes], ...] = (_anything, _bits, _sectors, _end_missing)


if __name__ == "__main__":
    sys.exit(main())
