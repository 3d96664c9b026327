"""Options that no other test sets: each changes what the command does as its help says."""

import csv
import json
import os
import re
import socket
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

import numpy as np
import pypdfium2
import pytest
import zxingcpp

from farm.measure import run as measure_run
from tests.cli.conftest import Spawnrun
from tests.farm.painted import paint, painted_vision, read_paint
from tests.vision.camera_shot import MIXED, chart, save, sheet, shot

EYE = "vessel,percent,taken_at\nB001,60,2026-03-08T15:00\n"

QR_CODES = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode])


def as_json(spawnrun: Spawnrun, *words: str) -> list[dict[str, object]]:
    outcome = spawnrun(*words, "--format", "json")
    assert outcome.code == 0, outcome.err
    found: list[dict[str, object]] = json.loads(outcome.out)
    return found


def test_every_field_of_a_vessel_is_stored(spawnrun: Spawnrun) -> None:
    spawnrun("init", "home")
    facts = ("vessel", "add", "B7", "--kind", "bag", "--inoculated", "2026-03-02", "--substrate", "straw")
    sizes = ("--face-width-mm", "190", "--face-height-mm", "310", "--diameter-mm", "95", "--label-size", "small")
    place = ("--batch", "W1", "--label-place", "below", "--temperature-c", "21.5", "--shelf", "Rack 2")
    added = spawnrun(*facts, *sizes, *place, "--farm", "home")
    assert (added.code, added.out) == (0, "added B7\n")
    (kept,) = as_json(spawnrun, "vessel", "list", "--farm", "home")
    wanted = {
        "substrate": "straw", "face_width_mm": 190.0, "face_height_mm": 310.0, "diameter_mm": 95.0,
        "label_size": "small", "batch": "W1", "label_place": "below", "temperature_c": 21.5, "shelf": "Rack 2",
    }  # fmt: skip
    assert {name: kept[name] for name in wanted} == wanted


def test_a_table_changes_vessels_only_with_update_and_imports_events(spawnrun: Spawnrun, week: Path) -> None:
    Path("more.csv").write_text("vessel,kind,inoculated,species\nJ001,jar,2026-03-02,reishi\n")
    Path("events.csv").write_text("vessel,event,at\nJ001,shaken,2026-03-07\n")
    assert (
        "in the farm already, with other values; give --update to replace them"
        in spawnrun("vessel", "import", "more.csv", "--farm", "home").err
    )
    done = spawnrun("vessel", "import", "more.csv", "--update", "--events", "events.csv", "--farm", "home")
    assert done.out.splitlines() == ["vessels: 0 added, 1 changed, 0 unchanged", "events: 1 added, 0 known already"]
    assert "to take one back: spawnrun event VESSEL WHAT --at TIME --remove" in done.err
    shown = spawnrun("vessel", "show", "J001", "--farm", "home").out
    assert "species         reishi" in shown
    assert "shaken          2026-03-07T00:00" in shown


def test_an_error_in_either_table_refuses_both(spawnrun: Spawnrun, week: Path) -> None:
    Path("more.csv").write_text("vessel,kind,inoculated\nX001,jar,2026-03-02\n")
    Path("events.csv").write_text("vessel,event,at\nX001,shook,2026-03-07\n")
    refused = spawnrun("vessel", "import", "more.csv", "--events", "events.csv", "--farm", "home")
    assert (refused.code, refused.out) == (2, "")
    assert "X001" not in spawnrun("vessel", "list", "--farm", "home").out


def test_an_unknown_column_is_reported_and_called_kept_only_if_it_was_stored(spawnrun: Spawnrun, week: Path) -> None:
    Path("more.csv").write_text("vessel,kind,inoculated,specis\nX001,jar,2026-03-02,oyster\n")
    first, second = (spawnrun("vessel", "import", "more.csv", "--farm", "home").err for _ in range(2))
    assert "column not known: specis; did you mean species?\nkept as notes: specis\n" in first
    assert "column not known: specis; did you mean species?" in second
    assert "kept" not in second


def test_impossible_events_are_refused_with_their_lines(spawnrun: Spawnrun, week: Path) -> None:
    Path("events.csv").write_text("vessel,event,at\nJ001,shaken,2020-01-01\nJ001,shaken,2099-01-01\n")
    refused = spawnrun("vessel", "import", "vessels.csv", "--events", "events.csv", "--farm", "home")
    assert refused.code == 2
    assert "line 2, column at: 2020-01-01T00:00: J001 was inoculated later" in refused.err
    assert "line 3, column at: 2099-01-01T00:00 has not come yet" in refused.err
    assert "shaken" not in spawnrun("vessel", "show", "J001", "--farm", "home").out


def test_readings_of_a_vessel_as_csv(spawnrun: Spawnrun, week: Path) -> None:
    rows = list(
        csv.DictReader(spawnrun("vessel", "show", "B002", "--format", "csv", "--farm", "home").out.splitlines())
    )
    assert [float(row["percent"]) for row in rows] == [3, 20, 35, 45, 50, 52]


@pytest.mark.parametrize(("hours", "pairs"), [("4", 0), ("6", 1)])
def test_an_estimate_is_compared_with_a_reading_within_the_given_hours(
    spawnrun: Spawnrun, week: Path, hours: str, pairs: int
) -> None:
    """The photo of that day is of 10:00."""
    Path("eye.csv").write_text(EYE)
    found = as_json(spawnrun, "agree", "eye.csv", "--pairs", "--within-hours", hours, "--farm", "home")
    assert len(found) == pairs


AS_OF = [
    ("plan", "--days", "60", "--as-of"),
    ("compare", "--as-of"),
    ("review", "list", "--as-of"),
]


@pytest.mark.parametrize("words", AS_OF, ids=[words[0] for words in AS_OF])
def test_lists_can_be_asked_as_of_another_time(spawnrun: Spawnrun, week: Path, words: tuple[str, ...]) -> None:
    early = spawnrun(*words, "2026-03-07T12:00", "--farm", "home")
    late = spawnrun(*words, "2026-03-14T12:00", "--farm", "home")
    assert (early.code, late.code) == (0, 0)
    assert early.out != late.out
    assert ("green patch" in late.out) == (words[0] == "review")
    assert "green patch" not in early.out


def test_pages_and_calendar_can_be_asked_as_of_another_time(spawnrun: Spawnrun, week: Path) -> None:
    facts = json.loads(spawnrun("report", "--json", "--as-of", "2026-03-07T12:00", "--farm", "home").out)
    assert (facts["as_of"], {one["vessel"]: one["percent"] for one in facts["vessels"]}["B001"]) == (
        "2026-03-07T12:00",
        30.0,
    )
    assert "nothing to review" in spawnrun("review", "--as-of", "2026-03-07T12:00", "--farm", "home").out
    for name, moment in (("early", "2026-03-07T12:00"), ("late", "2026-03-14T12:00")):
        assert spawnrun("calendar", "--as-of", moment, "--out", f"{name}.ics", "--farm", "home").code == 0
    assert "look at it first" in Path("late.ics").read_text("utf-8")
    assert "look at it first" not in Path("early.ics").read_text("utf-8")


def test_plan_options_for_species_use_and_empty_stock(spawnrun: Spawnrun, week: Path) -> None:
    farm = ("--days", "60", "--farm", "home")
    assert {one["species"] for one in as_json(spawnrun, "plan", "--species", "oyster", *farm)} == {"oyster"}
    assert as_json(spawnrun, "plan", "--species", "reishi", *farm) == []
    hows = {
        use: {one["what"] for one in as_json(spawnrun, "plan", "--grain-to", use, *farm) if one["part"] == "prepare"}
        for use in ("bulk", "grain")
    }
    assert hows["bulk"] != hows["grain"]
    goal = ("plan", "--target", "1 oyster block by 2026-12-12", "--farm", "home")
    (head, *_), (anew, *steps) = as_json(spawnrun, *goal), as_json(spawnrun, *goal, "--anew")
    assert (anew["running"], bool(steps)) == (0, True)
    assert head["can_be_met"]


def test_a_profile_is_stored_if_asked_for_the_edition_of_the_chart(spawnrun: Spawnrun) -> None:
    spawnrun("init", "home")
    save(shot(chart(60), mixed=MIXED, exposure=0.8), Path("mixed.jpg"))
    assert spawnrun("calibrate", "mixed.jpg", "--no-keep", "--farm", "home").err == ""
    new = spawnrun("calibrate", "mixed.jpg", "--keep", "--farm", "home")
    assert "kept in" in new.err
    old = spawnrun("calibrate", "mixed.jpg", "--old-chart", "--no-keep", "--farm", "home")
    assert old.out != new.out, "the patches of a chart of before November 2014 are others"


def test_labels_without_vessels_have_the_given_size(spawnrun: Spawnrun, monkeypatch: pytest.MonkeyPatch) -> None:
    """Small labels have half the size, so the same picture has twice as many pixels per millimetre."""
    monkeypatch.setattr("vision.camera.inspection.find_chart", lambda _: None)  # takes seconds; the photo has none
    save(shot(sheet(3.0, [f"N{n}" for n in range(6)])), Path("sheet.jpg"))
    scale = {
        size: {one["check"]: one["value"] for one in as_json(spawnrun, "calibrate", "sheet.jpg", "--label-size", size)}
        for size in ("normal", "small")
    }
    assert scale["small"]["scale"] == pytest.approx(2 * float(str(scale["normal"]["scale"])), rel=0.02)


def test_a_forecast_uses_the_given_threshold_and_law(spawnrun: Spawnrun) -> None:
    days = ((2, 0), (4, 6), (6, 24), (8, 48), (10, 70), (12, 86))
    rows = [f"B,bag,2026-03-01,2026-03-{1 + day:02},{percent}" for day, percent in days]
    Path("readings.csv").write_text("\n".join(["vessel,kind,inoculated,taken_at,percent", *rows]))

    through_90, through_99, linear, gompertz = (
        as_json(spawnrun, *words)[0]["ready_median"]
        for words in (
            ("forecast", "readings.csv", "--through", "90"),
            ("forecast", "readings.csv", "--through", "99"),
            ("forecast", "readings.csv", "--law", "linear"),
            ("forecast", "readings.csv", "--law", "gompertz"),
        )
    )
    assert str(through_90) < str(through_99)
    assert str(linear) < str(gompertz), "a steady front ends before one that slows down"


def test_tables_can_be_written_as_parquet(spawnrun: Spawnrun, week: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    assert spawnrun("export", "--out", "tables", "--parquet", "--farm", "home").code == 0
    assert parquet.read_table("tables/vessels.parquet").column("vessel").to_pylist() == ["B001", "B002", "J001"]


def test_remote_records_need_a_postgresql_address(spawnrun: Spawnrun) -> None:
    refused = spawnrun("init", "home", "--records", "mysql://grower@server/farm")
    assert refused.code == 2
    assert "records: must be empty or name a database, such as postgresql" in refused.err
    assert not Path("home").exists()


def codes_mm(page: int, target: str = "labels.pdf") -> list[tuple[float, float]]:
    """Left and top of each code on a page, mm, by row and column."""
    dpi = 200
    with pypdfium2.PdfDocument(target) as document:
        picture = document[page].render(scale=dpi / 72, grayscale=True).to_numpy().squeeze()
    found = zxingcpp.read_barcodes(np.ascontiguousarray(picture), formats=QR_CODES)
    corners = [(one.position.top_left.x * 25.4 / dpi, one.position.top_left.y * 25.4 / dpi) for one in found]
    return sorted(corners, key=lambda one: (round(one[1] / 5), one[0]))


def test_labels_lie_on_the_stickers_of_a_ready_made_sheet(spawnrun: Spawnrun) -> None:
    """Two columns and two rows of small labels on letter paper; the first place is already used."""
    grid = ("--rows", "2", "--columns", "2", "--left-mm", "10", "--top-mm", "20", "--gap-across-mm", "30")
    more = ("--gap-down-mm", "40", "--paper", "letter", "--size", "small", "--skip", "1", "--guide")
    outcome = spawnrun("labels", "A1", "A2", "A3", *grid, *more)
    assert outcome.code == 0, outcome.err
    (right, left, below) = codes_mm(0)
    width, height = (215.9 - 2 * 10 - 30) / 2, (279.4 - 2 * 20 - 40) / 2
    assert right[0] - left[0] == pytest.approx(width + 30, abs=0.5)
    assert left[1] - right[1] == pytest.approx(height + 40, abs=0.5)
    assert below[0] == pytest.approx(right[0], abs=0.5)
    # A small label of 30 x 20 mm in the middle of its sticker; its code begins 3.15 mm from the left.
    assert left[0] == pytest.approx(10 + (width - 30) / 2 + 3.15, abs=0.5)
    with pypdfium2.PdfDocument("labels.pdf") as document:
        assert document[0].get_size() == (612, 792)
        assert len(document) > 1, "the guide"


def test_the_layout_of_a_fixed_camera_assigns_regions_to_vessels(
    spawnrun: Spawnrun, vessels: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[dict[str, object]] = []

    def measure(rgb, context):
        seen.append(dict(context.regions))
        return read_paint(rgb, context)

    monkeypatch.setattr(measure_run, "load_vision", lambda: replace(painted_vision(), measure_photo=measure))
    Path("layout.csv").write_text("vessel,left,top,width,height\nB001,10,20,300,400\n")
    paint(Path("20260305_1000.png"), ("B001", 40))
    read = ("measure", "20260305_1000.png", "--vessels", "vessels.csv", "--layout", "layout.csv", "--workers", "1")
    assert spawnrun(*read).code == 0
    assert seen == [{"B001": (10, 20, 300, 400)}]


def test_a_cluster_that_does_not_answer_is_reported(spawnrun: Spawnrun, week: Path) -> None:
    pytest.importorskip("distributed")
    refused = spawnrun("measure", "photos", "--scheduler", "nowhere", "--farm", "home")
    assert refused.code == 2
    assert "no Dask scheduler answers at nowhere" in refused.err


def test_a_demo_is_replaced_with_the_given_number_of_workers(
    spawnrun: Spawnrun, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[int] = []
    monkeypatch.setattr("cli.demo.measure_paths", lambda farm, paths, options: asked.append(options.workers))
    assert spawnrun("demo", "try", "--workers", "3").code == 0
    assert spawnrun("demo", "try", "--workers", "3").code == 2
    assert spawnrun("demo", "try", "--workers", "2", "--replace").code == 0
    assert asked == [3, 2]


@pytest.mark.parametrize(("words", "browser"), [(("--browser",), True), (("--no-browser",), False)])
def test_the_review_page_uses_the_given_port_and_browser(
    spawnrun: Spawnrun, week: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], browser: bool
) -> None:
    """The server itself ends at once here; ``test_review_open.py`` runs it."""
    served: list[str] = []
    launched: list[str] = []
    monkeypatch.setattr("phone.server.PhoneServer.serve", lambda server: served.append(server.site.address))

    def launch(link: str) -> None:
        """The address is in a file of this user's own: an argument can be read in the list of processes."""
        file = Path(url2pathname(urlsplit(link).path))
        assert os.name == "nt" or (file.stat().st_mode | file.parent.stat().st_mode) & 0o077 == 0
        launched.extend(re.findall(r'url=([^"]+)"', file.read_text()))

    monkeypatch.setattr("typer.launch", launch)
    with closing(socket.create_server(("127.0.0.1", 0))) as free:
        port = free.getsockname()[1]
    outcome = spawnrun("review", "--open", "--port", str(port), *words, "--farm", "home")
    (address,) = re.findall(r"^review: (\S+)  \(Ctrl-C ends it\)$", outcome.out, re.MULTILINE)
    assert outcome.code == 0
    assert urlsplit(address).port == port
    assert [urlsplit(one).port for one in served] == [port]
    assert launched == ([address] if browser else [])
    assert spawnrun("review", "--open", "--browser", "--farm", "home").code == 0


def test_a_verdict_has_a_suspect_a_reviewer_and_a_note(spawnrun: Spawnrun, week: Path) -> None:
    farm = ("--farm", "home")
    assert spawnrun("review", "watch", "B002", "--by", "Ann", "--note", "tape?", *farm).code == 0
    (item,) = as_json(spawnrun, "review", "list", *farm)
    assert (item["verdict_by"], item["verdict_note"]) == ("Ann", "tape?")
    assert "nothing of stall is up for review" in spawnrun("review", "confirm", "B002", "--of", "stall", *farm).err
    assert spawnrun("review", "confirm", "B002", "--of", "green", *farm).out.startswith("B002: green confirmed\n")
    back = spawnrun("review", "undo", "B002", "--of", "green", "--by", "Ann", *farm)
    assert back.out == "B002: green no longer confirmed\n"
