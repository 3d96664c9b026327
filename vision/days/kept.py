"""Read the next photos of a vessel from what was kept of the earlier ones, and keep what the next will need."""

import io
import json
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.days.aligned_maps import ComparedFace
from vision.days.past import FirstDay, Past
from vision.days.series import SeriesFace, before_first, read_day
from vision.days.signs import SignsPast, signs_of_day
from vision.records import Face, MeasuredVessel, VesselSpec
from vision.surface import Baseline

Arrays = dict[str, NDArray[Any]]
#: Arrays that were kept before with their bytes, by ``id``: most stay as they are and are not coded again.
Coded = dict[int, tuple[NDArray[Any], bytes]]


def continue_series(
    before: bytes | None, faces: Sequence[SeriesFace], spec: VesselSpec, mates: Sequence[Face] = ()
) -> tuple[tuple[MeasuredVessel, ...], bytes]:
    """Readings of a vessel's next faces, in order of time, with signs; and what is kept for those after them.

    before: what was kept after the face before, None at the first. mates: as ``read_series`` takes them, used at the
    first. Faces read at once and one by one give the same. Raises ValueError if ``before`` is damaged.
    """
    past, signs, coded = (before_first(mates), SignsPast(), {}) if before is None else _from_bytes(before)
    measured = []
    for one in faces:
        read, past = read_day(past, one, spec)
        signed, signs = signs_of_day(signs, one.days, one.phase, read, spec)
        measured.append(signed)
    return tuple(measured), _to_bytes(past, signs, coded)


def _to_bytes(past: Past, signs: SignsPast, coded: Coded) -> bytes:
    facts: dict[str, Any] = {
        "past": {
            "has_mates": past.has_mates,
            "n_read": past.n_read,
            "shape": past.shape,
            "phase": past.phase,
        },
        "baseline": past.baseline and vars(past.baseline),
        "signs": {"phase": signs.phase, "paces": signs.paces},
        "days": [(one.days, one.phase) for one in signs.days],
        "shown": list(signs.shown),
        "n_outlines": len(past.outlines),
    }
    arrays: Arrays = {f"outline{n}": one for n, one in enumerate(past.outlines)}
    if past.odds is not None:
        arrays["odds"] = past.odds
    if (first := past.first) is not None:
        facts["first"] = {"days": first.days, "labelled": first.labelled, "shape": first.shape}
        facts["areas_cm2"] = [area for _, area in first.patches]
        arrays |= {"inside": first.inside, "lab": first.lab}
        arrays |= {f"patch{n}": mask for n, (mask, _) in enumerate(first.patches)}
    for n, one in enumerate(signs.days):
        arrays[f"classes{n}"] = one.classes
        if one.lightness is not None:
            arrays[f"lightness{n}"] = one.lightness
    arrays |= {f"shown-{name}": mask for name, mask in signs.shown.items()}
    return _packed(facts, arrays, coded)


def _from_bytes(content: bytes) -> tuple[Past, SignsPast, Coded]:
    facts, arrays, coded = _unpacked(content)
    try:
        first = None
        if "first" in facts:
            known = facts["first"]
            patches = tuple((arrays[f"patch{n}"], float(area)) for n, area in enumerate(facts["areas_cm2"]))
            first = FirstDay(
                known["days"], known["labelled"], _pair(known["shape"]), arrays["inside"], arrays["lab"], patches
            )
        kept = facts["past"]
        past = Past(
            has_mates=kept["has_mates"],
            n_read=kept["n_read"],
            baseline=_baseline(facts["baseline"]),
            first=first,
            shape=kept["shape"] and _pair(kept["shape"]),
            outlines=tuple(arrays[f"outline{n}"] for n in range(facts["n_outlines"])),
            phase=kept["phase"],
            odds=arrays.get("odds"),
        )
        days = tuple(
            ComparedFace(at, phase, arrays[f"classes{n}"], arrays.get(f"lightness{n}"))
            for n, (at, phase) in enumerate(facts["days"])
        )
        shown = {name: arrays[f"shown-{name}"] for name in facts["shown"]}
        return past, SignsPast(days, facts["signs"]["phase"], tuple(facts["signs"]["paces"]), shown), coded
    except (KeyError, TypeError) as error:
        raise ValueError(_DAMAGED) from error


_DAMAGED = "what was kept of the earlier photos is damaged"


def _baseline(kept: Mapping[str, Any] | None) -> Baseline | None:
    if kept is None:
        return None
    red, green, blue = kept["log_rgb"]
    spread_red, spread_green, spread_blue = kept["spread"]
    return Baseline((red, green, blue), (spread_red, spread_green, spread_blue), kept["referenced"])


def _pair(values: Sequence[int]) -> tuple[int, int]:
    rows, columns = values
    return rows, columns


def _packed(facts: Mapping[str, Any], arrays: Arrays, coded: Coded) -> bytes:
    """A zip of facts.json and of each array, compressed by zlib: truth values as bits, the others as they are."""
    layout = {name: (str(one.dtype), one.shape) for name, one in arrays.items()}
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr(zipfile.ZipInfo("facts.json"), json.dumps({**facts, "arrays": layout}))
        for name, one in arrays.items():
            _, before = coded.get(id(one), (one, b""))
            archive.writestr(zipfile.ZipInfo(name), before or _compressed(one))
    return buffer.getvalue()


def _compressed(array: NDArray[Any]) -> bytes:
    # Runs only, which suits maps and takes a third of the time.
    coder = zlib.compressobj(level=1, strategy=zlib.Z_RLE)
    content = np.packbits(array) if array.dtype == np.bool_ else np.ascontiguousarray(array)
    return coder.compress(content.tobytes()) + coder.flush()


def _unpacked(content: bytes) -> tuple[dict[str, Any], Arrays, Coded]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            facts = json.loads(archive.read("facts.json"))
            parts = {name: archive.read(name) for name in facts["arrays"]}
        arrays = {
            name: _array(zlib.decompress(parts[name]), dtype, tuple(shape))
            for name, (dtype, shape) in facts["arrays"].items()
        }
    except (zipfile.BadZipFile, zlib.error, KeyError, ValueError, EOFError) as error:
        raise ValueError(_DAMAGED) from error
    return facts, arrays, {id(one): (one, parts[name]) for name, one in arrays.items()}


def _array(content: bytes, dtype: str, shape: tuple[int, ...]) -> NDArray[Any]:
    if dtype == "bool":
        bits = np.unpackbits(np.frombuffer(content, np.uint8), count=int(np.prod(shape)))
        return bits.view(np.bool_).reshape(shape)
    return np.frombuffer(content, np.dtype(dtype)).reshape(shape)
