"""Two phones at once, a run over photos beside the server, and what a restart finds: nothing is lost or doubled."""

import hashlib
import threading
import time
from pathlib import Path

import pytest

from farm.measure import RunOptions, measure_paths
from farm.records import get_vessel, known_photos, list_events, list_readings
from farm.store import Farm, open_farm
from phone import PhoneServer
from phone.uploads import FOLDER
from tests.phone.conftest import KEPT_BACK
from tests.phone.serving import Client, paired, served


def hash_of(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def wait_until_measured(client: Client, hashes: set[str], seconds: float = 180) -> None:
    """Ask as the page does."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        found = client.get(f"/answers?of={','.join(hashes)}", Accept="*/*")
        assert found.status in (200, 429)
        if found.text.count('"state":"done"') == len(hashes):
            return
        time.sleep(0.5)
    raise AssertionError(found.text[:500])


@pytest.mark.slow
def test_two_phones_and_a_run_over_a_folder_at_once(demo: Farm, tmp_path: Path) -> None:
    """Both phones send the same three photos, and one of its own each, while a run measures two of the three."""
    home = demo.folder.parent
    photos = [(home / Path(name).name).read_bytes() for name in KEPT_BACK]
    own = [photos[2] + b"\x00" * number for number in (1, 2)]  # what follows the end of a JPEG is no part of it
    with served(demo) as server:
        phones = [paired(server, "one"), paired(server, "other")]

        def send(phone: Client, mine: list[bytes]) -> None:
            for content in mine:
                answer = phone.put(hash_of(content), content)
                assert answer.status in (200, 201), answer.text

        def run() -> None:
            with open_farm(demo.folder) as farm:
                measure_paths(farm, [home / Path(name).name for name in KEPT_BACK[:2]], RunOptions())

        threads = [
            threading.Thread(target=send, args=(phones[0], [*photos, own[0]])),
            threading.Thread(target=send, args=(phones[1], [*reversed(photos), own[1]])),
            threading.Thread(target=run),
        ]
        for one in threads:
            one.start()
        for one in threads:
            one.join(timeout=240)
            assert not one.is_alive()
        hashes = {hash_of(content) for content in (*photos, *own)}
        wait_until_measured(phones[0], hashes)
    assert known_photos(demo, hashes) == hashes
    readings = list_readings(demo, photo_hashes=hashes)
    keys = [(one.photo_hash, one.vessel, one.side) for one in readings if one.vessel]
    assert len(keys) == len(set(keys))
    bags = [one for one in readings if one.photo_hash == hash_of(photos[0]) and one.status == "ok"]
    assert sorted(one.vessel or "" for one in bags) == [f"B00{number}" for number in range(1, 7)]
    kept = [path for path in (demo.folder / FOLDER).rglob("*") if path.is_file()]
    assert {path.stem for path in kept} <= hashes
    assert len({path.stem for path in kept}) == len(kept)


def test_a_phone_that_sends_what_is_known_or_refused_gets_its_answer(shelf: Farm) -> None:
    """More than lies in the system's buffers: a server that stops reading breaks the sending off (RFC 9112, 9.6)."""
    photo = b"\xff\xd8\xff" + bytes(30_000_000)
    no_picture = b"GIF89a" + bytes(30_000_000)
    with served(shelf) as server:
        phone = paired(server)
        assert [phone.put(hash_of(photo), photo).status for _ in range(2)] == [201, 200]
        assert phone.put(hash_of(no_picture), no_picture).status == 415


def test_two_phones_that_tick_the_same_at_once_note_it_once(shelf: Farm) -> None:
    with served(shelf) as server:
        phones = [paired(server, name) for name in ("one", "other")]
        assert phones[0].get("/").status == 200
        answers: list[int] = []

        def tick(phone: Client) -> None:
            answers.append(phone.post("/tick", {"vessels": "B001", "what": "opened"}).status)

        threads = [threading.Thread(target=tick, args=(phone,)) for phone in phones]
        for one in threads:
            one.start()
        for one in threads:
            one.join()
        assert answers == [303, 303]
        assert [one.event for one in list_events(shelf, ["B001"])] == ["opened"]
        said = [bar(phone) for phone in phones]
        assert sum("B001: moved to fruit." in one for one in said) == 1
        assert sum("Not noted: B001 fruits since" in one for one in said) == 1


def test_what_one_phone_did_the_other_sees_and_its_bar_is_its_own(shelf: Farm) -> None:
    with served(shelf) as server:
        one, other = paired(server, "one"), paired(server, "other")
        one.post("/tick", {"vessels": "B001", "what": "thrown_out"})
        assert get_vessel(shelf, "B001").state == "closed"
        assert "B001: thrown out." in bar(one)
        assert bar(other) == ""
        assert 'id="row-B001"' not in other.get("/").text
        assert "B001: thrown out." in other.get("/").text  # among what was noted today
        assert "B001: thrown out." in bar(one)  # as long as it can be taken back
        one.post("/hide", {})
        assert bar(one) == ""
        one.post("/tick", {"vessels": "X9", "what": "shaken"})
        assert ["Not noted" in bar(one) for _ in range(2)] == [True, False]


def bar(client: Client) -> str:
    return (
        client.get("/more")
        .text.split('id="bar"')[1]
        .split('<nav class="board"')[0]
        .split("</div>")[0]
        .split(">", 1)[1]
        .strip()
    )


@pytest.mark.slow
def test_photos_that_were_left_when_the_server_ended_are_measured_by_the_next(demo: Farm) -> None:
    content = (demo.folder.parent / "20260309_1400.jpg").read_bytes()
    folder = demo.folder / FOLDER / "_2026-03-16"
    folder.mkdir(parents=True)
    (folder / f"{hash_of(content)}.jpg").write_bytes(content)
    with served(demo) as server:
        wait_until_measured(paired(server), {hash_of(content)})
    assert known_photos(demo, [hash_of(content)])


@pytest.mark.slow
def test_a_photo_sent_again_is_known_without_being_read(demo: Farm) -> None:
    content = (demo.folder / "photos" / "plates" / "20260302_1000.jpg").read_bytes()
    with served(demo) as server:
        client = paired(server)
        answer = client.put(hash_of(content), content)
        assert (answer.status, answer.text) == (200, '{"state":"known"}')
        assert not (demo.folder / FOLDER).exists()
        assert '"state":"done"' in client.get(f"/answers?of={hash_of(content)}").text


def test_the_server_knows_no_photo_that_nobody_sent(shelf: Farm) -> None:
    with served(shelf) as server:
        assert isinstance(server, PhoneServer)
        found = paired(server).get(f"/answers?of={'0' * 64},nonsense,{'1' * 64}")
        assert '"answers":[]' in found.text
