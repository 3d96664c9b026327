"""Addresses, rates, pictures and photos: the parts behind the pages, each by itself."""

import asyncio
import hashlib
import zipfile
from collections.abc import AsyncIterator
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import zxingcpp

from farm.measure.photos import ids_in_names, owner_of
from farm.store import Farm
from farm.upkeep import back_up
from phone.addresses import is_near, lan_addresses, make_site
from phone.keys import PHONES_FILE, PhoneKeys
from phone.limits import Rate
from phone.pictures import Pictures
from phone.qr import qr_svg, qr_text
from phone.uploads import FOLDER, RefusedPhotoError, clear_parts, is_hash, kept_photo, kept_photos, take_in
from tests.phone.serving import paired, served

JPEG = b"\xff\xd8\xff\xe0" + b"0" * 60
HEIC = b"\x00\x00\x00\x18ftypheic" + b"0" * 60


@pytest.mark.parametrize(
    ("address", "near"),
    [
        # RFC 1918, 3927, 4193, 4291, 6598; and neighbours of each that are public.
        ("127.0.0.1", True), ("10.1.2.3", True), ("172.16.0.1", True), ("172.32.0.1", False), ("192.168.7.9", True),
        ("192.169.0.1", False), ("169.254.3.4", True), ("100.64.0.1", True), ("100.128.0.1", False), ("8.8.8.8", False),
        ("::1", True), ("fe80::1%eth0", True), ("fd00::1", True), ("2a00:1450::1", False), ("::ffff:8.8.8.8", False),
        ("::ffff:192.168.1.1", True), ("", False), ("localhost", False), ("10.0.0.1.evil.example", False),
    ],
)  # fmt: skip
def test_only_addresses_of_private_networks_are_near(address: str, near: bool) -> None:
    assert is_near(address) is near


def test_a_site_on_this_machine_knows_no_other_name() -> None:
    site = make_site(8714, lan=False)
    assert site.address == "http://127.0.0.1:8714"
    assert site.hosts == {"127.0.0.1:8714", "localhost:8714"}
    assert site.origins == {"http://127.0.0.1:8714", "http://localhost:8714"}


def test_a_site_in_the_network_is_known_by_the_name_given_first() -> None:
    site = make_site(443, lan=True, name="Farm.Example", is_tls=True)
    assert site.address == "https://farm.example"
    assert {"farm.example", "127.0.0.1", *lan_addresses()} <= site.hosts
    assert make_site(8443, lan=True, name="farm.example", is_tls=True).address == "https://farm.example:8443"


def test_a_rate_lets_a_burst_through_and_then_a_trickle() -> None:
    rate = Rate(at_once=3, a_second=0.5)
    assert [rate.take("a", at=0.0) for _ in range(5)] == [True, True, True, False, False]
    assert rate.take("b", at=0.0)
    assert [rate.take("a", at=2.0), rate.take("a", at=2.0)] == [True, False]
    assert [rate.take("a", at=1000.0) for _ in range(4)] == [True, True, True, False]


def test_the_clients_of_a_rate_are_bounded() -> None:
    rate = Rate(at_once=1, a_second=0.0)
    for number in range(5000):
        rate.take(str(number), at=0.0)
    assert len(rate._left) == 2000


async def pieces(content: bytes, size: int = 7) -> AsyncIterator[bytes]:
    for start in range(0, len(content), size):
        yield content[start : start + size]


def take(farm: Farm, content: bytes, photo_hash: str = "", **more: str) -> Path:
    wanted = photo_hash or hashlib.sha256(content).hexdigest()
    return asyncio.run(take_in(farm, wanted, pieces(content), announced=None, **more)).path


@pytest.mark.parametrize(
    ("content", "suffix"),
    [
        (JPEG, ".jpg"), (HEIC, ".heic"), (b"\x89PNG\r\n\x1a\n" + b"0" * 30, ".png"),
        (b"RIFF\x00\x00\x00\x00WEBP" + b"0" * 30, ".webp"), (b"II*\x00" + b"0" * 30, ".tif"),
    ],
)  # fmt: skip
def test_a_photo_is_kept_under_its_hash_by_what_it_is(shelf: Farm, content: bytes, suffix: str) -> None:
    path = take(shelf, content)
    assert path.read_bytes() == content
    assert (path.stem, path.suffix) == (hashlib.sha256(content).hexdigest(), suffix)
    assert path.parent == shelf.folder / FOLDER / "_2026-03-12"
    assert kept_photo(shelf, path.stem) == path
    assert kept_photos(shelf) == {path.stem: path}


def test_what_is_refused_leaves_nothing(shelf: Farm) -> None:
    for content, photo_hash, key in (
        (JPEG, "0" * 64, "cut_short"),
        (b"MZ" + b"0" * 60, "", "no_picture"),
        (b"\x00\x00\x00\x18ftypqt  " + b"0" * 60, "", "no_picture"),
        (b"", "", "no_picture"),
    ):
        with pytest.raises(RefusedPhotoError) as refused:
            take(shelf, content, photo_hash)
        assert refused.value.key == key
    assert [one for one in (shelf.folder / FOLDER).rglob("*") if one.is_file()] == []


def test_what_a_killed_server_left_is_removed(shelf: Farm) -> None:
    path = take(shelf, JPEG)
    part = path.with_name(f".{'1' * 64}.abc")
    part.write_bytes(b"half")
    clear_parts(shelf)
    assert not part.exists()
    assert path.exists()


def test_the_time_a_phone_tells_is_taken_where_it_can_be_true(shelf: Farm) -> None:
    told = int(datetime(2026, 3, 9, 7, 30, tzinfo=UTC).timestamp())
    assert take(shelf, JPEG, taken_ms=f"{told}000").stat().st_mtime == told
    present = datetime.now(UTC).timestamp()
    for number, strange in enumerate(("", "abc", "99999999999999", "-5", "9" * 30, "0", "\u0663")):
        kept = take(shelf, JPEG + bytes([number]), taken_ms=strange).stat().st_mtime
        assert abs(kept - present) < 60, strange


def test_neither_folder_nor_file_is_ever_taken_for_a_vessel(shelf: Farm) -> None:
    """A vessel's id in a file's name says whose photo it is: names that phones' photos get must say nothing."""
    path = take(shelf, JPEG)
    ids = [path.stem[:length].upper() for length in range(1, 17)] + ["2026", "2026-03", "FROM", "PHONES", "PHOTOS"]
    assert owner_of((path.stem, path.parent.name, path.parent.parent.name), ids_in_names(ids)) is None


@pytest.mark.parametrize("text", ["", "0" * 63, "0" * 65, "G" * 64, "A" * 64, "../" + "0" * 61, "0" * 64 + "\n"])
def test_what_is_no_hash_is_no_photo(shelf: Farm, text: str) -> None:
    assert not is_hash(text)
    assert kept_photo(shelf, text) is None


def test_pictures_are_bounded_in_memory_and_asked_for_by_hash_only(
    shelf: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = Pictures(shelf)
    face = next((shelf.folder / "faces").rglob("*.face")).stem
    first = kept.jpeg(f"small/{face}.jpg")
    assert first is not None
    assert first.startswith(b"\xff\xd8")
    assert kept.jpeg(f"small/{face}.jpg") is first
    for strange in (
        f"small/{face}.png",
        f"small/../{face}.jpg",
        f"/small/{face}.jpg",
        "small/x.jpg",
        "",
        f"small/{'0' * 64}-0.jpg",
    ):
        assert kept.jpeg(strange) is None
    monkeypatch.setattr("phone.pictures._MOST_KEPT_BYTES", len(first) + 10)
    assert kept.jpeg(f"ring/{face}/0,0,0,0.jpg") is not None
    assert kept._size <= len(first) + 10


def modules(text: str) -> np.ndarray:
    """The modules of a code in half blocks: 255 light, 0 dark."""
    halves = {
        "\N{FULL BLOCK}": (255, 255),
        "\N{UPPER HALF BLOCK}": (255, 0),
        "\N{LOWER HALF BLOCK}": (0, 255),
        " ": (0, 0),
    }
    rows = [[[halves[sign][half] for sign in line] for half in (0, 1)] for line in text.split("\n")]
    return np.array([half for row in rows for half in row], np.uint8)


def test_the_code_on_a_terminal_is_read_by_another_library() -> None:
    """ZXing stands for a phone's camera; on a coloured terminal dark is dark, whatever its own colours."""
    address = "http://192.168.178.20:8714/pair#K7QD-M3XW-9FHT"
    plain = qr_text(address)
    picture = np.kron(modules(plain), np.ones((6, 6), np.uint8))
    assert [one.text for one in zxingcpp.read_barcodes(picture)] == [address]
    coloured = qr_text(address, coloured=True).split("\n")
    assert all(line.startswith("\x1b[97;40m") and line.endswith("\x1b[0m") for line in coloured)
    assert [line[8:-4] for line in coloured] == plain.split("\n")


def test_the_code_on_a_page_has_no_style_and_no_script() -> None:
    drawing = qr_svg("http://192.168.178.20:8714/pair#K7QD-M3XW-9FHT")
    assert drawing.startswith("<svg")
    assert "style" not in drawing
    assert "script" not in drawing


def test_no_photo_is_taken_in_that_would_fill_the_disk(shelf: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("phone.uploads.disk_usage", lambda _: SimpleNamespace(free=1_050_000_000))
    with pytest.raises(RefusedPhotoError) as refused:
        take(shelf, JPEG)
    assert (refused.value.status, refused.value.key) == (507, "disk_full")
    assert [one for one in (shelf.folder / FOLDER).rglob("*") if one.is_file()] == []


def test_while_many_photos_wait_no_more_are_taken_in(shelf: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    """A phone is told when to try again, and keeps its photo."""
    monkeypatch.setattr("phone.photo_routes.MOST_WAITING", 0)
    with served(shelf) as server:
        answer = paired(server).put(hashlib.sha256(JPEG).hexdigest(), JPEG)
    assert (answer.status, answer.headers["retry-after"]) == (503, "15")
    assert not (shelf.folder / FOLDER).exists()


def test_a_backup_has_neither_phones_nor_codes(shelf: Farm, tmp_path: Path) -> None:
    keys = PhoneKeys(shelf.folder)
    keys.pair(keys.new_code(), "Ann's phone")
    back_up(shelf, tmp_path / "kept.zip")
    content = (tmp_path / "kept.zip").read_bytes()
    assert content
    with zipfile.ZipFile(tmp_path / "kept.zip") as archive:
        assert PHONES_FILE not in {Path(name).name for name in archive.namelist()}
