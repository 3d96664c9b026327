"""A run: each photo once in any order, then the series; failures do not stop it."""

import random
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from farm.measure import RunOptions, Vision, content_hash, measure_paths, read_layout, read_stale_series
from farm.records import add_event, explain_flags, get_vessel, import_vessels, list_readings, moment
from farm.records.flags import FARM_FLAGS
from farm.store import Farm, create_farm, to_instant
from tests.farm.painted import paint
from vision.days import SeriesFace
from vision.flags import FLAGS
from vision.pixels import Picture
from vision.records import Face, MeasuredVessel, PhotoContext, Reading, VesselSpec


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    folder = tmp_path / "photos"
    paint(folder / "20260303_1000.png", ("B001", 4), ("B002", 6))
    paint(folder / "20260305_1000.png", ("B001", 30), ("B002", 20))
    paint(folder / "jar" / "20260305_1100.png", ("J001", 33))
    return folder


def measured(farm: Farm, vessel: str) -> list[tuple[str, float | None]]:
    return [(Path(one.photo).stem, one.percent) for one in list_readings(farm, vessel=vessel)]


def test_every_vessel_of_every_photo_is_stored(farm: Farm, vessels_csv: Path, photos: Path, vision: Vision) -> None:
    import_vessels(farm, vessels_csv)
    outcome = measure_paths(farm, [photos], vision=vision)
    assert [len(photo.readings) for photo in outcome] == [2, 2, 1]
    assert all(photo.is_new and photo.is_read for photo in outcome)
    assert measured(farm, "B001") == [("20260303_1000", 4), ("20260305_1000", 30)]


def test_measuring_again_adds_nothing_and_gives_the_same(
    farm: Farm, vessels_csv: Path, photos: Path, vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    first = measure_paths(farm, [photos], vision=vision)
    before = list_readings(farm)
    blind = replace(vision, measure_photo=None)  # type: ignore[arg-type] # it must not be called
    second = measure_paths(farm, [photos], vision=blind)
    assert [photo.is_new for photo in second] == [False, False, False]
    assert [photo.readings for photo in second] == [photo.readings for photo in first]
    assert list_readings(farm) == before


def test_a_copy_under_another_name_is_the_same_photo(
    farm: Farm, vessels_csv: Path, photos: Path, vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    measure_paths(farm, [photos], vision=vision)
    (photos / "copy.png").write_bytes((photos / "20260303_1000.png").read_bytes())
    measure_paths(farm, [photos], vision=vision)
    assert len(list_readings(farm)) == 5


def test_a_photo_that_grows_between_its_hash_and_its_reading_is_counted_once(
    farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As while a phone copies it: hashed when it is half there, read when it is whole."""
    import_vessels(farm, vessels_csv)
    whole = paint(tmp_path / "whole.png", ("B001", 30)).read_bytes()
    photo = tmp_path / "photos" / "20260305_1000.png"
    photo.parent.mkdir()
    photo.write_bytes(whole[:-20])

    def hash_and_go_on(path: Path) -> str:
        found = content_hash(path)
        path.write_bytes(whole)
        return found

    monkeypatch.setattr("farm.measure.run.content_hash", hash_and_go_on)
    (first,) = measure_paths(farm, [photo.parent], vision=vision)
    assert not first.is_read
    assert "left for the next run" in first.readings[0].reason
    assert list_readings(farm) == []
    (second,) = measure_paths(farm, [photo.parent], vision=vision)
    assert second.is_read
    assert measured(farm, "B001") == [("20260305_1000", 30)]


def test_a_file_that_is_larger_than_any_photo_is_refused_unread(
    farm: Farm, vessels_csv: Path, photos: Path, vision: Vision, monkeypatch: pytest.MonkeyPatch
) -> None:
    import_vessels(farm, vessels_csv)
    film = photos / "film.jpg"
    with film.open("wb") as file:
        file.truncate(3_000_000_000)
    read: list[Path] = []

    def hash_and_note(path: Path) -> str:
        read.append(path)
        return content_hash(path)

    monkeypatch.setattr("farm.measure.run.content_hash", hash_and_note)
    outcome = {photo.found.path: photo for photo in measure_paths(farm, [photos], vision=vision)}
    assert "too large: a file of 3,000 MB" in outcome[film].readings[0].reason
    assert film not in read
    assert sum(photo.is_read for photo in outcome.values()) == 3


def test_a_photo_read_at_half_its_size_is_flagged_and_its_regions_are_halved(
    farm: Farm, vessels_csv: Path, photos: Path, vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    seen = []

    def load_half(content: bytes) -> Picture:
        return replace(vision.load_picture(content), reduced=2, flags=("reduced",))

    def note(rgb: np.ndarray, context: PhotoContext) -> tuple[MeasuredVessel, ...]:
        seen.append(dict(context.regions))
        return vision.measure_photo(rgb, context)

    halved = replace(vision, load_picture=load_half, measure_photo=note)
    measure_paths(farm, [photos / "jar"], RunOptions(regions={"J001": (10, 20, 301, 400)}), vision=halved)
    assert seen == [{"J001": (5, 10, 150, 200)}]
    assert all("reduced" in one.flags for one in list_readings(farm, vessel="J001"))


def test_an_older_photo_added_later_is_sorted_in(farm: Farm, vessels_csv: Path, photos: Path, vision: Vision) -> None:
    import_vessels(farm, vessels_csv)
    measure_paths(farm, [photos], vision=vision)
    paint(photos / "20260304_1000.png", ("B001", 44))
    measure_paths(farm, [photos], vision=vision)
    assert measured(farm, "B001") == [("20260303_1000", 4), ("20260304_1000", 44), ("20260305_1000", 44)]
    assert list_readings(farm, vessel="B001")[-1].percent_alone == 30


def test_a_shake_recorded_later_starts_a_new_phase(
    farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    paint(tmp_path / "a_20260306_1000.png", ("J001", 33))
    paint(tmp_path / "b_20260307_1000.png", ("J001", 2))
    measure_paths(farm, [tmp_path], vision=vision)
    assert [percent for _, percent in measured(farm, "J001")] == [33, 33]
    add_event(farm, "J001", "shaken", to_instant(moment("2026-03-06T18:00"), farm.zone))
    assert read_stale_series(farm, vision=vision) == 1
    assert [percent for _, percent in measured(farm, "J001")] == [33, 2]
    assert read_stale_series(farm, vision=vision) == 0


@pytest.mark.parametrize("seed", range(3))
def test_records_do_not_depend_on_order_or_workers(
    vessels_csv: Path, photos: Path, tmp_path: Path, vision: Vision, seed: int
) -> None:
    files = sorted(photos.rglob("*.png"))
    with create_farm(tmp_path / "one") as one, create_farm(tmp_path / "many") as many:
        for farm in (one, many):
            import_vessels(farm, vessels_csv)
        measure_paths(one, files, vision=vision)
        random.Random(seed).shuffle(files)
        with ThreadPoolExecutor(3) as executor:
            for file in files:
                measure_paths(many, [file], RunOptions(workers=3, executor=executor), vision=vision)
        assert list_readings(one) == list_readings(many)


def test_a_file_that_is_not_a_picture_gives_a_reading_with_a_reason(
    farm: Farm, vessels_csv: Path, photos: Path, vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    (photos / "B001.jpg").write_bytes(b"")
    (photos / "notes.png").write_text("not a picture")
    outcome = {photo.found.path.name: photo for photo in measure_paths(farm, [photos], vision=vision)}
    (empty,) = outcome["B001.jpg"].readings
    assert (empty.status, empty.vessel, empty.percent) == ("unusable", "B001", None)
    assert "empty" in empty.reason
    assert outcome["notes.png"].readings[0].status == "unusable"
    assert not outcome["notes.png"].is_read
    assert outcome["20260303_1000.png"].is_read


def test_an_internal_error_on_one_photo_does_not_stop_a_run_and_is_retried(
    farm: Farm, vessels_csv: Path, photos: Path, vision: Vision
) -> None:
    def stumbles(rgb: object, context: object) -> tuple[MeasuredVessel, ...]:
        measured = vision.measure_photo(rgb, context)
        if measured[0].reading.vessel == "J001":
            raise RuntimeError("out of luck")
        return measured

    import_vessels(farm, vessels_csv)
    outcome = measure_paths(farm, [photos], vision=replace(vision, measure_photo=stumbles))
    (failed,) = [photo for photo in outcome if not photo.is_read]
    assert "this program failed on it (RuntimeError: out of luck)" in failed.readings[0].reason
    assert len(list_readings(farm)) == 4
    assert all(photo.is_read for photo in measure_paths(farm, [photos], vision=vision))


def test_a_photo_with_an_unknown_label_is_read_again_when_the_vessel_is_added(
    farm: Farm, vessels_csv: Path, photos: Path, vision: Vision, tmp_path: Path
) -> None:
    import_vessels(farm, vessels_csv)
    paint(photos / "20260306_1000.png", ("B003", 7))
    assert [one.status for one in measure_paths(farm, [photos], vision=vision)[2].readings] == ["unidentified"]
    later = tmp_path / "later.csv"
    later.write_text("id,kind,inoculated\nB003,bag,2026-03-01\n")
    import_vessels(farm, later)
    assert [one.status for one in measure_paths(farm, [photos], vision=vision)[2].readings] == ["ok"]
    assert measured(farm, "B003") == [("20260306_1000", 7)]


def test_a_photo_without_a_vessel_is_read_again_when_its_folder_names_one(
    farm: Farm, vessels_csv: Path, vision: Vision, tmp_path: Path
) -> None:
    import_vessels(farm, vessels_csv)
    photo = paint(tmp_path / "shelf" / "20260306_1000.png")
    assert measure_paths(farm, [photo], vision=vision)[0].readings[0].vessel is None
    assert not measure_paths(farm, [photo], vision=vision)[0].is_new
    (moved,) = measure_paths(farm, [photo.parent.rename(tmp_path / "B002")], vision=vision)
    assert (moved.is_new, moved.readings[0].vessel) == (True, "B002")
    assert not measure_paths(farm, [moved.found.path], vision=vision)[0].is_new


def test_clocks_that_are_wrong_are_flagged(farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision) -> None:
    import_vessels(farm, vessels_csv)
    paint(tmp_path / "20260228_1000.png", ("B001", 1))
    paint(tmp_path / "20990101_1000.png", ("B001", 2))
    early, late = measure_paths(farm, [tmp_path], vision=vision)
    assert early.readings[0].flags == ("taken_before_inoculation",)
    assert late.readings[0].flags == ("taken_in_future",)


def test_measurements_before_a_stop_are_stored(farm: Farm, vessels_csv: Path, photos: Path, vision: Vision) -> None:
    def stop(stage: str, n_done: int, n_total: int) -> None:
        if stage == "photos" and n_done == 2:
            raise KeyboardInterrupt

    import_vessels(farm, vessels_csv)
    with pytest.raises(KeyboardInterrupt):
        measure_paths(farm, [photos], RunOptions(on_progress=stop), vision=vision)
    assert len(list_readings(farm)) == 4
    assert [photo.is_new for photo in measure_paths(farm, [photos], vision=vision)] == [False, False, True]


def test_measuring_again_on_request_replaces(farm: Farm, vessels_csv: Path, photos: Path, vision: Vision) -> None:
    import_vessels(farm, vessels_csv)
    measure_paths(farm, [photos], vision=vision)
    before = list_readings(farm)
    outcome = measure_paths(farm, [photos], RunOptions(again=True), vision=vision)
    assert all(photo.is_new for photo in outcome)
    assert list_readings(farm) == before


def test_a_layout_gives_regions_by_vessel(tmp_path: Path) -> None:
    source = tmp_path / "layout.csv"
    source.write_text("vessel,left,top,width,height\nb001,10,20,300,400\n")
    assert read_layout(source) == {"B001": (10, 20, 300, 400)}


def test_a_photo_inside_the_farm_has_a_relative_path(farm: Farm, vessels_csv: Path, vision: Vision) -> None:
    import_vessels(farm, vessels_csv)
    paint(farm.folder / "photos" / "20260303_1000.png", ("B001", 4))
    measure_paths(farm, [farm.folder], vision=vision)
    assert [one.photo for one in list_readings(farm)] == ["photos/20260303_1000.png"]
    assert get_vessel(farm, "B001").id == "B001"


def test_a_face_is_stored_again_only_if_the_series_changed_its_map(
    farm: Farm, vessels_csv: Path, photos: Path, vision: Vision
) -> None:
    kept_again = []

    def encode(face: Face, decoded_from: bytes | None = None) -> bytes:
        kept_again.append(decoded_from is not None)
        return vision.encode_face(face, decoded_from)

    def first_changes(
        before: bytes | None, faces: Sequence[SeriesFace], spec: VesselSpec, mates: object
    ) -> tuple[tuple[MeasuredVessel, ...], bytes]:
        maps = [one.face.classes.copy() for one in faces]
        maps[0][0, 0] = 1
        read = (
            MeasuredVessel(one.reading, replace(one.face, classes=classes))
            for one, classes in zip(faces, maps, strict=True)
        )
        return tuple(read), b"nothing"

    import_vessels(farm, vessels_csv)
    measure_paths(farm, [photos], vision=replace(vision, encode_face=encode, continue_series=first_changes))
    assert kept_again.count(False) == 5  # as measured: two days of two bags, a jar
    assert kept_again.count(True) == 3  # the first of each vessel


def test_a_series_that_cannot_be_read_keeps_the_single_readings_and_is_reported(
    farm: Farm, vessels_csv: Path, photos: Path, vision: Vision
) -> None:
    def stumbles(
        before: bytes | None, faces: Sequence[SeriesFace], spec: VesselSpec, mates: Sequence[Face]
    ) -> tuple[tuple[MeasuredVessel, ...], bytes]:
        if spec.id == "B001":
            raise RuntimeError("out of luck")
        return vision.continue_series(before, faces, spec, mates)

    import_vessels(farm, vessels_csv)
    measure_paths(farm, [photos], vision=replace(vision, continue_series=stumbles))
    flags = {(one.vessel, one.flags) for one in list_readings(farm)}
    assert flags == {("B001", ("series_unreadable",)), ("B002", ()), ("J001", ())}
    assert [percent for _, percent in measured(farm, "B001")] == [4, 30]


def test_every_flag_of_the_farm_has_a_sentence() -> None:
    assert set(FARM_FLAGS) & set(FLAGS) == set()
    sentences = explain_flags([*FARM_FLAGS, *FLAGS, "from_tomorrow"])
    assert all(sentence.endswith(".") for sentence in sentences[:-1])
    assert sentences[-1] == "from_tomorrow"


def by_folder(rgb: np.ndarray, context: PhotoContext) -> tuple[MeasuredVessel, ...]:
    """A picture without a label: it shows the vessel that its folder names."""
    if context.owner is None:
        return (MeasuredVessel(Reading(None, None, "unidentified", reason="no label", flags=("no_label",))),)
    kind = context.vessels[context.owner].kind
    return (MeasuredVessel(Reading(context.owner, kind, "ok", percent=float(rgb[0, 0, 1]), flags=("no_label",))),)


def test_a_picture_in_the_folders_of_two_vessels_is_read_for_both(
    farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    blind = replace(vision, measure_photo=by_folder)
    for folder in ("B001", "J001"):
        paint(tmp_path / "photos" / folder / "20260303_1000.png", ("x", 40))
    first, second = measure_paths(farm, [tmp_path / "photos"], vision=blind)
    shown = [[(one.vessel, Path(one.photo).parent.name) for one in photo.readings] for photo in (first, second)]
    assert shown == [[("B001", "B001")], [("J001", "J001")]]
    assert [(one.vessel, one.kind, one.percent) for one in list_readings(farm)] == [
        ("B001", "bag", 40),
        ("J001", "jar", 40),
    ]
    again = measure_paths(farm, [tmp_path / "photos"], vision=replace(blind, measure_photo=None))  # type: ignore[arg-type]
    assert [photo.is_new for photo in again] == [False, False]


def test_a_known_picture_that_lies_in_another_vessel_s_folder_later_is_read_for_it_too(
    farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    blind = replace(vision, measure_photo=by_folder)
    for folder in ("B001", "J001"):
        paint(tmp_path / folder / "20260303_1000.png", ("x", 40))
        (photo,) = measure_paths(farm, [tmp_path / folder], vision=blind)
        assert (photo.is_new, [one.vessel for one in photo.readings]) == (True, [folder])
    measure_paths(farm, [tmp_path / "B001"], RunOptions(again=True), vision=blind)
    assert [one.vessel for one in list_readings(farm)] == ["B001", "J001"]
