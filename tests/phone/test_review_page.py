"""Requests to the review page: what it serves, and what it refuses."""

import http.client
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from urllib.parse import urlencode

import pytest

from farm.records import get_vessel, list_verdicts
from farm.store import Farm
from farm.store.errors import FarmBusyError
from report import ReviewServer
from tests.report.serving import served

FORM = {"Content-Type": "application/x-www-form-urlencoded"}


@dataclass
class Site:
    server: ReviewServer
    farm: Farm
    headers: dict[str, str] = field(default_factory=dict)

    def ask(self, method: str, path: str, body: str | None = None, **headers: str) -> tuple[int, dict[str, str], str]:
        port = self.server.server_address[1]
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        asked = path if path.startswith(self.server.root) else f"{self.server.root}/{path.removeprefix('/')}"
        connection.request(method, asked, body, (FORM if body is not None else {}) | sent)
        answer = connection.getresponse()
        content = answer.read()
        connection.close()
        return answer.status, dict(answer.getheaders()), content.decode("utf-8", "replace")

    def fields(self, number: int = 0) -> dict[str, str]:
        """The fields of the n-th verdict form of the page, without a verdict."""
        page = self.ask("GET", "/")[2]
        form = re.findall(r'<form method="post" action="verdict".*?</form>', page, re.S)[number]
        return dict(re.findall(r'name="(\w+)" value="([^"]*)"', form.split("<label")[0]))

    def post(self, path: str, fields: dict[str, str], **headers: str) -> tuple[int, dict[str, str], str]:
        return self.ask("POST", path, urlencode(fields), **headers)


@pytest.fixture
def site(shelf: Farm) -> Iterator[Site]:
    with served(shelf) as server:
        yield Site(server, shelf)


def test_the_page_has_the_most_urgent_suspect_first_with_its_spot_on_earlier_days(site: Site) -> None:
    status, _, page = site.ask("GET", "/")
    assert status == 200
    assert page.index("B002: green patch") < page.index("B003: green patch")
    first = page.split("<article")[1]
    assert re.findall(r"<strong>([^<]*)</strong>", first) == ["not seen", "1.0 cm2", "4.0 cm2", "9.0 cm2"]
    assert "Green is commonly green mould" in first
    assert "Leave the vessel closed" in page
    assert "Nothing here says that a mushroom is fit to eat." in page


def test_every_picture_of_the_page_is_served(site: Site) -> None:
    sources = re.findall(r'<img src="([^"]+)"', site.ask("GET", "/")[2])
    assert len(sources) == 8
    for source in sources:
        status, headers, _ = site.ask("GET", source)
        assert (status, headers["Content-Type"]) == (200, "image/jpeg")


def test_a_damaged_face_is_told_in_its_picture_and_the_page_goes_on(site: Site) -> None:
    sources = re.findall(r'<img src="([^"]+)"', site.ask("GET", "/")[2])
    whole = [len(site.ask("GET", source)[2]) for source in sources]
    for face in (site.farm.folder / "faces").rglob("*.face"):
        face.write_bytes(face.read_bytes()[:60] + b"damaged" + face.read_bytes()[67:])
    assert site.ask("GET", "/")[0] == 200
    for source, length in zip(sources, whole, strict=True):
        status, headers, content = site.ask("GET", source)
        assert (status, headers["Content-Type"]) == (200, "image/jpeg")
        assert len(content) != length


def test_without_the_key_of_its_address_nothing_is_served(site: Site) -> None:
    port = site.server.server_address[1]
    fields = urlencode(site.fields() | {"verdict": "confirmed"})
    source = re.findall(r'<img src="([^"]+)"', site.ask("GET", "/")[2])[0]
    for key in ("", "/", f"{site.server.root[:-1]}/", f"{site.server.root[:-1]}x/", site.server.root.upper() + "/"):
        for method, path, body in (("GET", "", None), ("GET", source, None), ("POST", "verdict", fields)):
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
            connection.request(method, f"{key}{path}" or "/", body, FORM if body else {})
            assert connection.getresponse().status == 403
            connection.close()
    assert list_verdicts(site.farm) == []


def test_records_that_cannot_be_read_are_told_and_the_page_goes_on(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    def is_busy(_: str) -> None:
        raise FarmBusyError("another process is writing to the records")

    with monkeypatch.context() as patch:
        patch.setattr(site.server.session, "page", is_busy)
        status, _, said = site.ask("GET", "/")
        assert (status, "another process is writing" in said) == (503, True)
    assert site.ask("GET", "/")[0] == 200


def test_every_response_forbids_what_the_page_does_not_need(site: Site) -> None:
    for path in ("/", "/review.css", "/review.js", "/nothing"):
        headers = site.ask("GET", path)[1]
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert "form-action 'self'" in policy
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["X-Frame-Options"] == "DENY"
        assert headers["Referrer-Policy"] == "same-origin"
        assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert headers["Cache-Control"] == "no-store"
        assert "Access-Control-Allow-Origin" not in headers


def test_it_listens_on_the_loopback_address_only(site: Site) -> None:
    assert site.server.server_address[0] == "127.0.0.1"
    assert site.server.url.startswith("http://127.0.0.1:")


@pytest.mark.parametrize(
    "path",
    [
        "/farm.toml",
        "/records.sqlite",
        "/../farm.toml",
        "/%2e%2e/farm.toml",
        "//127.0.0.1/",
        "/spot/../../farm.toml",
        "/spot/" + "0" * 64 + "-0/0,0,10,10.jpg",
        "/spot/" + "a" * 63 + "/-0/0,0,10,10.jpg",
        "/face/" + "0" * 64 + "-0/0,0,10,10.jpg/..",
        "/verdict",
        "/review.html",
    ],
)
def test_nothing_else_is_served(site: Site, path: str) -> None:
    assert site.ask("GET", path)[0] == 404


def test_an_invalid_crop_is_refused(site: Site) -> None:
    source = re.findall(r'<img src="(spot/[^"]+/)[^"/]+"', site.ask("GET", "/")[2])[0]
    assert site.ask("GET", f"{source}0,0,99999,99999.jpg")[0] == 404
    assert site.ask("GET", f"{source}0,0,0,0.jpg")[0] == 404
    assert site.ask("GET", f"{source}-9999,-9999,20,20.jpg")[0] == 200


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "127.0.0.1", "localhost:1", "[::1]:80", ""])
def test_another_host_name_is_refused_for_reading_and_for_writing(site: Site, host: str) -> None:
    fields = site.fields() | {"verdict": "confirmed"}
    assert site.ask("GET", "/", Host=host)[0] == 403
    assert site.post("/verdict", fields, Host=host)[0] == 403
    assert list_verdicts(site.farm) == []


@pytest.mark.parametrize("token", [None, "", "guess", "\u2603"])
def test_a_verdict_without_the_forms_token_is_refused(site: Site, token: str | None) -> None:
    fields = site.fields() | {"verdict": "confirmed"}
    del fields["token"]
    assert site.post("/verdict", fields if token is None else fields | {"token": token})[0] == 403
    assert list_verdicts(site.farm) == []


def test_a_verdict_from_another_site_is_refused_even_with_the_token(site: Site) -> None:
    fields = site.fields() | {"verdict": "confirmed"}
    for origin in ("http://evil.example", "null", "https://127.0.0.1"):
        assert site.post("/verdict", fields, Origin=origin)[0] == 403
    assert list_verdicts(site.farm) == []
    assert site.post("/verdict", fields, Origin=site.server.url.removesuffix(f"{site.server.root}/"))[0] == 303


def test_an_invalid_form_is_refused(site: Site) -> None:
    assert site.ask("POST", "/verdict", "{}", Content_Type="application/json")[0] == 400
    assert site.ask("POST", "/verdict", "x" * 30_000)[0] == 400
    assert site.ask("POST", "/verdict", "&".join(f"a{n}=1" for n in range(50)))[0] == 400
    assert site.ask("PUT", "/verdict", "")[0] == 501


def test_a_verdict_is_stored_and_undone(site: Site) -> None:
    fields = site.fields() | {"verdict": "confirmed", "note": "powdery", "by": "Ann", "quarantine": "yes"}
    status, headers, _ = site.post("/verdict", fields)
    assert (status, headers["Location"]) == (303, f"{site.server.root}/#first")
    (kept,) = list_verdicts(site.farm)
    assert (kept.vessel, kept.verdict, kept.by, kept.note) == ("B002", "confirmed", "Ann", "powdery")
    assert get_vessel(site.farm, "B002").state == "quarantined"
    page = site.ask("GET", "/")[2]
    assert "B002: green confirmed by Ann." in page
    assert "B002: green patch" not in page
    assert 'name="by" maxlength="80" autocomplete="name" value="Ann"' in page
    undo = {"token": fields["token"], "vessel": "B002", "id": str(kept.id)}
    assert site.post("/undo", undo)[0] == 303
    assert get_vessel(site.farm, "B002").state == "running"
    assert "B002: green patch" in site.ask("GET", "/")[2]


def test_a_verdict_on_a_closed_suspect_is_reported_and_not_stored(site: Site) -> None:
    fields = site.fields()
    assert site.post("/verdict", fields | {"verdict": "confirmed"})[0] == 303
    assert site.post("/verdict", fields | {"verdict": "dismissed"})[0] == 303
    assert "Not done: nothing of green" in site.ask("GET", "/")[2]
    assert site.post("/verdict", fields | {"verdict": "eaten"})[0] == 303
    assert "Not done: no such verdict" in site.ask("GET", "/")[2]
    assert site.post("/verdict", fields | {"verdict": "dismissed", "suspect": ""})[0] == 303
    assert len(list_verdicts(site.farm)) == 1


def test_names_and_notes_are_text_on_the_page(site: Site) -> None:
    nasty = '<script>alert(1)</script>" onfocus="x'
    site.post("/verdict", site.fields() | {"verdict": "watched", "note": nasty, "by": nasty})
    page = site.ask("GET", "/")[2]
    assert "<script>alert" not in page
    assert '" onfocus="' not in page
    assert "&lt;script&gt;alert(1)" in page


def test_photos_measured_while_the_page_is_open_are_shown(site: Site, tmp_path) -> None:
    from farm.measure import measure_paths
    from tests.farm.painted import paint, painted_vision

    assert "9.0 cm2" in site.ask("GET", "/")[2]
    paint(tmp_path / "late" / "20260312_1800.png", ("B002", 50, 25))
    measure_paths(site.farm, [tmp_path / "late"], vision=painted_vision())
    assert "25.0 cm2" in site.ask("GET", "/")[2]
