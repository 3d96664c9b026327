"""Today's list on the phone: what stands where, and what each tick does to the records."""

import re
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from farm.fruiting import list_harvests
from farm.lists import day_counts, list_today, sort_into_sections
from farm.outlook import bring_up_to_date
from farm.records import add_vessels, get_vessel, list_events, move_vessels
from farm.store import Farm
from phone import ServeOptions
from phone.farm_state import Shown
from phone.today_page import MOST_RESTING, MOST_ROWS, TodayPage, today_page
from phone.vessel_page import status_today
from phone.vessel_rows import VesselRow
from phone.words import words_of
from tests.farm.by_hand import SeenOutlook, review_seen
from tests.farm.test_today import NOW, START, mark, outlook, reading
from tests.phone.serving import Client, paired, served

ENGLISH = words_of("en")


def shown_of(farm: Farm, *outlooks: SeenOutlook) -> Shown:
    there = farm.at(NOW)
    review = review_seen(there, outlooks)
    items = tuple(sort_into_sections(there, outlooks, review))
    return Shown(NOW, {one.vessel.id: one for one in outlooks}, items, tuple(review))


def page_of(farm: Farm, *outlooks: SeenOutlook) -> TodayPage:
    return today_page(farm.at(NOW), ENGLISH, shown_of(farm, *outlooks))


def rows(page: TodayPage) -> dict[str, VesselRow]:
    shelves = (*page.shelves, *page.idle)
    grouped = [row for shelf in shelves for group in shelf.groups for row in group.rows]
    return {row.id: row for row in grouped} | {
        row.id: row for shelf in shelves for row in (*shelf.rows, *shelf.photo_rows, *shelf.resting)
    }


def vessel(one: SeenOutlook, name: str, shelf: str = "", **more: str) -> SeenOutlook:
    return replace(one, vessel=replace(one.vessel, id=name, shelf=shelf, **more))  # type: ignore[arg-type]


def test_shelves_stand_in_order_and_each_has_what_is_to_be_done_on_it(shelf: Farm) -> None:
    page = page_of(
        shelf,
        vessel(outlook("ready", 12.9, reading(13.5, 99)), "R1", "A2"),
        vessel(outlook("colonising", 30.0, reading(13.5, 40, mark(3.0))), "G1", "A1"),
        vessel(outlook("colonising", 40.0, reading(13.5, 20)), "L1", "A1"),
        vessel(outlook("ready", 12.0, reading(6, 40)), "D1", "A1"),
        vessel(outlook("waiting", None), "N1"),
    )
    assert [one.name for one in page.shelves] == ["A1", "A2", ""]
    assert [row.id for row in page.shelves[0].rows] == ["G1"]
    assert page.shelves[0].photos == "D1"
    assert [row.id for row in page.shelves[0].photo_rows] == ["D1"]
    assert [row.id for row in page.shelves[0].resting] == ["L1"]
    assert dict(page.counts) == {"look": 1, "step": 1, "photo": 2}
    assert [dict(one.counts) for one in page.shelves] == [{"look": 1, "photo": 1}, {"step": 1}, {"photo": 1}]
    assert page.idle == ()
    assert [one.n_photos for one in page.shelves] == [1, 0, 1]
    found = rows(page)
    assert found["G1"].todo == "look at it: green patch"
    assert found["G1"].tick is None  # it is judged first
    assert found["R1"].todo == "ready: move it to fruit"
    assert found["R1"].tick is not None
    assert found["R1"].tick.says == "Moved to fruit"
    assert found["D1"].todo.startswith("due by now; its last photo is of")
    assert found["N1"].todo == "no photo yet"
    assert (found["N1"].percent, found["N1"].fill) == ("no reading", None)
    assert (found["R1"].percent, found["R1"].fill) == ("99 %", 99)


def test_the_other_ticks_are_those_that_the_vessel_may_need(shelf: Farm) -> None:
    page = page_of(
        shelf,
        vessel(outlook("ready", 12.9, reading(13.5, 99)), "R1"),
        vessel(outlook("colonising", 40.0, reading(13.5, 20)), "L1"),
        vessel(outlook("colonising", 40.0, reading(13.5, 20)), "J1", kind="jar", substrate="rye grain"),
    )
    whats = {name: [one.what for one in row.others] for name, row in rows(page).items()}
    assert whats["R1"] == ["shaken", "moved", "thrown_out"]
    assert whats["L1"] == ["opened", "shaken", "moved", "thrown_out"]
    assert whats["J1"] == ["spawned", "shaken", "moved", "opened", "thrown_out"]
    says = {one.what: one.says for one in rows(page)["J1"].others}
    assert says["opened"] == "Opened"


def test_what_is_looked_at_first_stands_above_whatever_its_shelf(shelf: Farm) -> None:
    marked = outlook("colonising", 30.0, reading(13.5, 40, mark(3.0)))
    stalled = outlook("stalled", None, reading(13.5, 40))
    page = page_of(shelf, *(vessel(marked, f"G{n}", f"A{n}") for n in (1, 2)), vessel(stalled, "S1", "A2"))
    assert page.look is not None
    assert (page.look.n, page.look.places) == (3, (("A1", "G1"), ("A2", "G2, S1")))
    assert set(page.look.what.split(", ")) == {"green patch", "growth has stopped"}
    assert page.look.caution == ENGLISH("mark.closed")
    only = page_of(shelf, vessel(stalled, "S1", "A2")).look
    assert only is not None
    assert only.caution == ""
    assert page_of(shelf, vessel(outlook("ready", 12.9, reading(13.5, 99)), "R1", "A2")).look is None


def test_shelves_without_anything_to_do_stand_apart(shelf: Farm) -> None:
    rests, ready = outlook("colonising", 40.0, reading(13.5, 20)), outlook("ready", 12.9, reading(13.5, 99))
    page = page_of(shelf, *(vessel(rests, f"L{n}", f"A{n}") for n in range(4)), vessel(ready, "R1", "A2"))
    assert [one.name for one in page.shelves] == ["A2"]
    assert page.is_short
    busy = page_of(shelf, *(vessel(ready, f"R{n}", f"A{n}") for n in range(7)))
    assert not busy.is_short
    assert [(one.name, one.n_resting, one.counts) for one in page.idle] == [(f"A{n}", 1, ()) for n in (0, 1, 3)]


def test_vessels_of_a_shelf_that_ask_for_the_same_are_one_group(shelf: Farm) -> None:
    ready = [vessel(outlook("ready", 12.9, reading(13.5, 99)), f"R{n}", "A1") for n in range(3)]
    other = vessel(outlook("ready", 12.9, reading(13.5, 99)), "R9", "A2")
    page = page_of(shelf, *ready, other)
    (group,) = page.shelves[0].groups
    assert (group.vessels, group.ids, group.n, group.kind) == ("R0 R1 R2", "R0..R2", 3, "step")
    assert group.tick is not None
    assert group.caution == ""
    assert (group.tick.what, [row.id for row in group.rows]) == ("opened", ["R0", "R1", "R2"])
    assert page.shelves[0].rows == ()
    assert page.shelves[1].groups == ()
    assert [row.id for row in page.shelves[1].rows] == ["R9"]


def test_what_is_looked_at_is_grouped_and_judged_one_by_one(shelf: Farm) -> None:
    marked = [vessel(outlook("colonising", 30.0, reading(13.5, 40, mark(3.0))), f"G{n}", "A1") for n in range(3)]
    stalled = vessel(outlook("stalled", None, reading(13.5, 40)), "G9", "A1")
    (group,) = page_of(shelf, *marked, stalled).shelves[0].groups
    assert (group.n, group.kind, group.tick) == (4, "look", None)
    assert group.caution == "Leave it closed, move it out, do not sniff it."
    assert group.todo == "look at it: green patch; look at it: growth has stopped"


def test_a_shelf_of_many_vessels_shows_some_and_counts_all(shelf: Farm) -> None:
    many = [vessel(outlook("colonising", 40.0, reading(13.5, 20)), f"L{n:03}", "A1") for n in range(90)]
    (found,) = page_of(shelf, *many).idle
    assert (len(found.resting), found.n_resting) == (MOST_RESTING, 90)
    ready = [vessel(outlook("ready", 12.9, reading(13.5, 99)), f"R{n:03}", "A1") for n in range(90)]
    page = page_of(shelf, *ready)
    (group,) = page.shelves[0].groups
    assert (len(group.rows), group.n) == (MOST_ROWS, 90)
    assert dict(page.counts)["step"] == 90


def test_growth_that_has_stopped_is_looked_at_first(shelf: Farm) -> None:
    stalled = vessel(outlook("stalled", None, reading(13.5, 40)), "S1")
    page = page_of(shelf, stalled)
    assert rows(page)["S1"].todo == "look at it: growth has stopped"


@pytest.fixture
def client(shelf: Farm) -> Iterator[Client]:
    with served(shelf) as server:
        phone = paired(server)
        assert phone.get("/").status == 200
        yield phone


def said(client: Client) -> str:
    bar = client.get("/more").text.split('id="bar"')[1]
    found = re.search(r"<span>(.*?)</span>", bar)
    return "" if found is None else found[1].replace("&#39;", "'")


def undo(client: Client) -> None:
    """By the bar."""
    bar = client.get("/").text.split('id="bar"')[1]
    form = re.findall(r'<form method="post" action="/undo">.*?</form>', bar, re.S)[0]
    client.post("/undo", dict(re.findall(r'name="(\w+)" value="([^"]*)"', form)))


@pytest.mark.parametrize("what", ["shaken", "opened", "thrown_out"])
def test_a_tick_is_in_the_records_and_taken_back(client: Client, shelf: Farm, what: str) -> None:
    client.post("/tick", {"vessels": "B001", "what": what})
    assert [(one.event, one.at) for one in list_events(shelf, ["B001"])] == [(what, shelf.now)]
    assert get_vessel(shelf, "B001").state == ("closed" if what == "thrown_out" else "running")
    assert f"B001: {ENGLISH.done(what, 'fruiting')}." in said(client)
    undo(client)
    assert list_events(shelf, ["B001"]) == []
    assert get_vessel(shelf, "B001").state == "running"
    assert said(client).endswith("taken back.")


def test_a_move_takes_the_vessel_to_its_shelf_and_back(client: Client, shelf: Farm) -> None:
    move_vessels(shelf, ["B001"], "A1")
    client.post("/tick", {"vessels": "B001 B003", "what": "moved", "shelf": "B 7"})
    assert [get_vessel(shelf, one).shelf for one in ("B001", "B003")] == ["B 7", "B 7"]
    undo(client)
    assert [get_vessel(shelf, one).shelf for one in ("B001", "B003")] == ["A1", ""]
    assert list_events(shelf) == []
    client.post("/tick", {"vessels": "B001", "what": "moved", "shelf": "  "})
    assert said(client) == "Not noted: write to which shelf"


def test_a_harvest_is_weighed_in_the_farms_unit_or_its_own(client: Client, shelf: Farm) -> None:
    client.post("/tick", {"vessels": "B001", "what": "opened"})
    for weight, kg in (("0,45", 0.45), ("900 g", 0.9), ("2 lb", 0.907)):
        client.post("/tick", {"vessels": "B001", "what": "harvested", "weight": weight})
        assert [round(one.fresh_kg, 3) for one in list_harvests(shelf)] == [kg]
        assert "Nothing here says that it is fit to eat." in said(client)
        undo(client)
        assert list_harvests(shelf) == []
    for wrong in ("", "much", "-1", "0", "1 furlong", "9999999"):
        client.post("/tick", {"vessels": "B001", "what": "harvested", "weight": wrong})
        assert said(client).startswith("Not noted: ")
    assert list_harvests(shelf) == []


def test_what_is_up_for_review_is_held_back_save_from_being_thrown_out(client: Client, shelf: Farm) -> None:
    client.post("/tick", {"vessels": "B002", "what": "opened"})
    assert said(client) == "Not noted: B002: look and judge first, or throw out"
    assert list_events(shelf) == []
    client.post("/tick", {"vessels": "B002", "what": "thrown_out"})
    assert get_vessel(shelf, "B002").state == "closed"


def test_a_step_that_comes_early_is_noted_with_a_word(client: Client) -> None:
    client.post("/tick", {"vessels": "B001", "what": "opened"})
    assert said(client) == "B001: moved to fruit. Not seen ready yet: B001."


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"vessels": "", "what": "shaken"},
        {"vessels": "B001"},
        {"vessels": "B001", "what": "eaten"},
        {"vessels": "X9", "what": "shaken"},
        {"vessels": "B001..B999999", "what": "shaken"},
        {"vessels": "../farm.toml", "what": "shaken"},
    ],
)
def test_what_cannot_be_noted_is_told_and_changes_nothing(client: Client, shelf: Farm, fields: dict[str, str]) -> None:
    assert client.post("/tick", fields).status == 303
    assert said(client).startswith("Not noted: ")
    assert list_events(shelf) == []


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"vessels": "B001", "what": "shaken", "at": "yesterday"},
        {"vessels": "B001", "what": "shaken", "at": "2026-03-12T20:00"},
        {"vessels": "B001", "what": "shaken", "at": "2026-03-12T20:00+00:00"},
        {"vessels": "B001", "what": "spawned"},
        {"vessels": "B001", "what": "harvested"},
        {"vessels": "B001", "what": "verdict", "id": "x"},
        {"vessels": "B001", "what": "verdict", "id": "1"},
        {"vessels": "", "what": "verdict", "id": "1"},
    ],
)
def test_what_is_not_there_cannot_be_taken_back(client: Client, fields: dict[str, str]) -> None:
    assert client.post("/undo", fields).status == 303
    assert said(client).startswith("Not noted: ")


def test_an_undo_of_an_older_page_takes_back_nothing_else(client: Client, shelf: Farm) -> None:
    client.post("/tick", {"vessels": "B001", "what": "opened"})
    fields = {"vessels": "B001", "what": "thrown_out", "at": shelf.now.isoformat()}
    client.post("/undo", fields)
    assert said(client).startswith("Not noted: B001: opened at")
    client.post("/undo", fields | {"what": "opened", "at": "2026-03-01T08:00+00:00"})
    assert said(client).startswith("Not noted: B001: opened at")
    assert [one.event for one in list_events(shelf, ["B001"])] == ["opened"]


def test_a_weight_that_is_most_likely_a_mistake_is_refused(client: Client, shelf: Farm) -> None:
    client.post("/tick", {"vessels": "B001", "what": "harvested", "weight": "420"})
    assert said(client).startswith("Not noted: more than it can have borne")
    assert list_harvests(shelf) == []


def test_the_page_says_the_same_numbers_as_the_terminal(client: Client, shelf: Farm) -> None:
    counts = day_counts(list_today(shelf, bring_up_to_date(shelf)))
    tally = client.get("/").text.split('class="tally"')[1].split("</ul>")[0]
    shown = {name: int(n) for name, n in re.findall(r'<li class="(\w+)"><strong>(\d+)</strong>', tally)}
    assert shown == {"look": counts.look, "step": counts.ready, "photo": counts.photo}
    assert sum(shown.values()) > 0


def test_a_code_for_another_phone_has_a_qr_code_only_in_the_network(shelf: Farm) -> None:
    """No phone opens an address of this machine alone."""
    for options, has_code in (
        (ServeOptions(port=0, workers=1), False),
        (ServeOptions(port=0, workers=1, lan=True), True),
    ):
        with served(shelf, options) as server:
            page = paired(server).post("/invite", {}).text
            assert ('<div class="qr">' in page) is has_code
            assert ("spawnrun serve --lan" in page) is not has_code


def test_what_was_noted_today_stands_below_with_its_undo(client: Client, shelf: Farm) -> None:
    client.post("/tick", {"vessels": "B001", "what": "shaken"})
    client.post("/hide", {})
    page = client.get("/").text.split('class="noted"')[1]
    assert "B001: shaken." in page
    form = re.findall(r'<form method="post" action="/undo">.*?</form>', page, re.S)[0]
    client.post("/undo", dict(re.findall(r'name="(\w+)" value="([^"]*)"', form)))
    assert list_events(shelf) == []
    assert 'class="noted"' not in client.get("/").text


def test_what_was_noted_together_is_one_line_and_taken_back_together(client: Client, shelf: Farm) -> None:
    client.post("/tick", {"vessels": "B001 B003", "what": "shaken"})
    client.post("/hide", {})
    page = client.get("/").text.split('class="noted"')[1]
    assert "B001, B003: shaken." in page
    (form,) = re.findall(r'<form method="post" action="/undo">.*?</form>', page, re.S)
    client.post("/undo", dict(re.findall(r'name="(\w+)" value="([^"]*)"', form)))
    assert list_events(shelf) == []


def test_an_empty_farm_says_how_to_begin(tmp_path: Path) -> None:
    from farm.store import create_farm

    with create_farm(tmp_path / "empty") as farm, served(farm) as server:
        client = paired(server)
        assert "spawnrun vessel add" in client.get("/").text
        for path in ("/take", "/review", "/vessels", "/more"):
            assert client.get(path).status == 200


def test_a_vessel_that_is_added_while_served_is_on_the_list(client: Client, shelf: Farm) -> None:
    add_vessels(shelf, [replace(get_vessel(shelf, "B001"), id="B009", inoculated_at=START + timedelta(days=1))])
    until = time.monotonic() + 60
    while "B009" not in client.get("/vessels").text:
        assert time.monotonic() < until
        time.sleep(0.5)


def test_a_vessels_page_has_its_facts_pictures_curve_and_kin(client: Client) -> None:
    client.post("/tick", {"vessels": "B003", "what": "shaken"})
    page = client.get("/vessel/B003").text
    assert "Thu 12 Mar, 20:00" in page
    assert "<dd>shaken</dd>" in page
    assert page.count('src="/picture/small/') >= 5
    assert "<svg viewBox=" in page.split("Growth")[1]
    assert 'href="/vessel/B001">B001</a> <span class="soft">same batch, day' in page
    assert client.get("/vessel/b003").status == 200
    missing = client.get("/vessel/X1")
    assert (missing.status, "There is no vessel X1." in missing.text) == (404, True)
    assert client.get("/vessels?id=b003").headers["location"] == "/vessel/B003"
    assert "No vessel is called X1." in client.get("/vessels?id=x1").text


def test_a_vessel_is_called_ready_only_where_a_photo_shows_it_and_nothing_is_to_be_judged(shelf: Farm) -> None:
    """As the sections of the list: look at it, ready, due by forecast."""
    suspected = vessel(outlook("ready", 12.9, reading(13.5, 99, mark(3.0))), "G1")
    seen = vessel(outlook("ready", 12.9, reading(13.5, 99)), "R1")
    foretold = vessel(outlook("ready", 12.0, reading(6, 40)), "D1")
    shown = shown_of(shelf, suspected, seen, foretold)
    assert [status_today(shown, one) for one in (suspected, seen, foretold)] == ["look", "ready", "foretold"]


def test_the_page_of_a_vessel_with_an_open_suspect_says_to_look_first(client: Client) -> None:
    facts = client.get("/vessel/B002").text.split("<dt>now</dt>")[1]
    assert facts.startswith("<dd>look at it first</dd>")


@pytest.mark.parametrize(
    ("language", "caution", "spores"),
    [
        ("en", "Leave it closed, move it out, do not sniff it.", "Mould sheds spores: wear a respirator"),
        ("de", "Geschlossen lassen, aus dem Raum bringen, nicht daran riechen.", "Schimmel gibt Sporen ab"),
    ],
)
def test_what_may_be_mould_is_left_closed_on_its_card_and_after_the_verdict(
    client: Client, language: str, caution: str, spores: str
) -> None:
    """The caution stands outside everything that must be opened first."""
    client.headers["Accept-Language"] = language
    card = client.get("/").text.split('id="row-B002"')[1].split("<details")[0]
    assert caution in card
    assert caution not in client.get("/vessel/B001").text
    client.post("/verdict", {"vessel": "B003", "subject": "green", "verdict": "dismissed"})
    assert caution not in said(client)
    client.post("/verdict", {"vessel": "B002", "subject": "green", "verdict": "confirmed"})
    assert f"{caution} {spores}" in said(client)
