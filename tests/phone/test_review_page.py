"""Requests to the review: what it shows, keeps, takes back, and refuses."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from farm.measure import measure_paths
from farm.records import get_vessel, list_verdicts
from farm.store import Farm
from farm.store.errors import FarmBusyError
from phone import PhoneServer
from tests.farm.painted import NO_PERCENT, paint, painted_vision
from tests.phone.serving import Answer, Client, paired, served


@dataclass
class Site:
    server: PhoneServer
    farm: Farm
    client: Client

    def page(self) -> str:
        return self.client.get("/review").text

    def fields(self, number: int = 0) -> dict[str, str]:
        """The fields of the n-th verdict form of the page, without a verdict."""
        form = re.findall(r'<form method="post" action="/verdict".*?</form>', self.page(), re.S)[number]
        return dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form))

    def judge(self, fields: dict[str, str]) -> Answer:
        return self.client.post("/verdict", fields)


@pytest.fixture
def site(shelf: Farm) -> Iterator[Site]:
    with served(shelf) as server:
        yield Site(server, shelf, paired(server))


def pictures(page: str) -> list[str]:
    return re.findall(r'<img src="(/picture/[^"]+)"', page)


def test_the_page_has_the_most_urgent_suspect_first_with_its_spot_on_earlier_days(site: Site) -> None:
    page = site.page()
    assert page.index("<b>B002</b>: green patch") < page.index("<b>B003</b>: green patch")
    first = page.split("<article")[1]
    assert re.findall(r"<strong>([^<]*)</strong>", first) == ["not seen", "1.0 cm2", "4.0 cm2", "9.0 cm2"]
    assert "Green is commonly green mould" in first
    assert "Leave the vessel closed" in page
    assert "Nothing here says that a mushroom is fit to eat." in page


def test_each_button_says_what_it_will_do(site: Site) -> None:
    first = site.page().split("<article")[1]
    assert "It is real: take B002 off the list" in first
    assert "It is nothing: B002 goes on" in first
    assert "Not sure: keep watching" in first


def test_every_picture_of_the_page_is_served(site: Site) -> None:
    sources = pictures(site.page())
    assert len(sources) == 10  # of each suspect its row's, and the spot over days beside the whole face
    for source in sources:
        answer = site.client.get(source)
        assert (answer.status, answer.headers["content-type"]) == (200, "image/jpeg")


def test_a_damaged_face_is_told_in_its_picture_and_the_page_goes_on(shelf: Farm) -> None:
    with served(shelf) as server:
        sources = pictures(Site(server, shelf, paired(server)).page())
        whole = [len(paired(server).get(source).content) for source in sources]
    for face in (shelf.folder / "faces").rglob("*.face"):
        face.write_bytes(face.read_bytes()[:60] + b"damaged" + face.read_bytes()[67:])
    with served(shelf) as server:
        client = paired(server)
        assert client.get("/review").status == 200
        for source, length in zip(sources, whole, strict=True):
            answer = client.get(source)
            assert (answer.status, answer.headers["content-type"]) == (200, "image/jpeg")
            assert len(answer.content) != length


def test_records_that_cannot_be_read_are_told_and_the_page_goes_on(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    def is_busy(*_: object) -> None:
        raise FarmBusyError("another process is writing to the records")

    with monkeypatch.context() as patch:
        patch.setattr("phone.pages.review_page", is_busy)
        answer = site.client.get("/review")
        assert (answer.status, "another process is writing" in answer.text) == (503, True)
    assert site.client.get("/review").status == 200


def test_an_invalid_crop_is_refused(site: Site) -> None:
    source = re.findall(r'<img src="(/picture/spot/[^"]+/)[^"/]+"', site.page())[0]
    assert site.client.get(f"{source}0,0,99999,99999.jpg").status == 404
    assert site.client.get(f"{source}0,0,0,0.jpg").status == 404
    assert site.client.get(f"{source}-9999,-9999,20,20.jpg").status == 200


def test_a_verdict_is_stored_and_undone(site: Site) -> None:
    fields = site.fields() | {"verdict": "confirmed", "note": "powdery", "by": "Ann", "quarantine": "yes"}
    answer = site.judge(fields)
    assert (answer.status, answer.headers["location"]) == (303, "/review")
    (kept,) = list_verdicts(site.farm)
    assert (kept.vessel, kept.verdict, kept.by, kept.note) == ("B002", "confirmed", "Ann", "powdery")
    assert get_vessel(site.farm, "B002").state == "quarantined"
    page = site.page()
    assert "B002: green patch, confirmed." in page
    assert "<b>B002</b>: green patch" not in page
    assert 'name="by" maxlength="80" autocomplete="name" value="Ann"' in page
    undo = re.findall(r'<form method="post" action="/undo">.*?</form>', page, re.S)[0]
    back = dict(re.findall(r'name="(\w+)" value="([^"]*)"', undo))
    assert site.client.post("/undo", back).status == 303
    assert get_vessel(site.farm, "B002").state == "running"
    assert list_verdicts(site.farm)[0].undone_by == "Ann"
    assert "<b>B002</b>: green patch" in site.page()


def test_a_verdict_on_a_closed_suspect_is_told_and_not_stored(site: Site) -> None:
    fields = site.fields()
    assert site.judge(fields | {"verdict": "confirmed"}).status == 303
    assert site.judge(fields | {"verdict": "dismissed"}).status == 303
    assert "Not noted: nothing of green" in site.page()
    assert site.judge(fields | {"verdict": "eaten"}).status == 303
    assert "Not noted: this page is out of date" in site.page()
    assert site.judge(fields | {"verdict": "dismissed", "subject": ""}).status == 303
    assert len(list_verdicts(site.farm)) == 1


def test_names_and_notes_are_text_on_the_page(site: Site) -> None:
    nasty = '<script>alert(1)</script>" onfocus="x'
    site.judge(site.fields() | {"verdict": "watched", "note": nasty, "by": nasty})
    page = site.page()
    assert "<script>alert" not in page
    assert '" onfocus="' not in page
    assert "&lt;script&gt;alert(1)" in page


def test_photos_measured_by_another_process_are_shown(site: Site, tmp_path: Path) -> None:
    """As by `measure --watch` beside the server."""
    assert "9.0 cm2" in site.page()
    paint(tmp_path / "late" / "20260312_1800.png", ("B002", 50, 25))
    measure_paths(site.farm, [tmp_path / "late"], vision=painted_vision())
    site.server.state.forget()
    assert "25.0 cm2" in site.page()


def test_a_suspect_in_a_photo_without_a_percent_is_up_for_review_with_its_spot_over_days(
    shelf: Farm, tmp_path: Path
) -> None:
    paint(tmp_path / "photos" / "20260312_1800.png", ("B002", NO_PERCENT, 14))
    measure_paths(shelf, [tmp_path / "photos"], vision=painted_vision())
    with served(shelf) as server:
        client = paired(server)
        page = Site(server, shelf, client).page()
        first = page.split("<article")[1]
        assert re.findall(r"<strong>([^<]*)</strong>", first) == [
            "not seen",
            "1.0 cm2",
            "4.0 cm2",
            "9.0 cm2",
            "14.0 cm2",
        ]
        assert "None is kept of that photo" not in first
        *_, whole = pictures(first)
        (newest, *_) = re.findall(r'<img src="(/picture/small/[^"]+)"', client.get("/vessel/B002").text)
        key = newest.rpartition("/")[2].removesuffix(".jpg")
        assert f"/ring/{key}/" in whole  # ringed where it was seen last
        assert client.get(whole).headers["content-type"] == "image/jpeg"
        assert "<strong>no percent</strong>" in client.get("/vessel/B002").text


def test_where_no_picture_of_such_a_photo_is_kept_the_page_says_how_to_get_one(shelf: Farm, tmp_path: Path) -> None:
    paint(tmp_path / "photos" / "20260312_1800.png", ("B002", NO_PERCENT, 14))
    measure_paths(shelf, [tmp_path / "photos"], vision=painted_vision())
    with shelf.writing() as connection:  # as a version kept it that kept no face of such a photo
        connection.exec_driver_sql("UPDATE readings SET has_face = 0, frame = NULL WHERE status != 'ok'")
    with served(shelf) as server:
        first = Site(server, shelf, paired(server)).page().split("<article")[1]
    assert "None is kept of that photo: measure it again at the computer (spawnrun measure --again)." in first
