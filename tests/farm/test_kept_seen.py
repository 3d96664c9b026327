"""What is kept of a vessel's suspects and signs says the same as its readings, whatever was done before."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from random import Random
from typing import get_args

import numpy as np
import pytest
from sqlalchemy import select, update

from farm.measure import RunOptions, Vision, measure_paths
from farm.outlook import bring_up_to_date, list_outlooks, what_is_seen
from farm.records import add_event, close_vessel, import_vessels, list_events, list_readings, remove_event, undo_verdict
from farm.records.models import MISFIT, Verdict
from farm.review import give_verdict, review_items
from farm.store import Farm, open_farm
from farm.store.errors import EventError, ReviewError, VesselChangeError
from farm.store.schema import vessels
from tests.farm.by_hand import START
from tests.farm.painted import as_they_are, paint, painted_vision, read_paint
from tests.farm.test_farm_view import forget, told
from vision.records import MeasuredVessel, PhotoContext, Sign

NOW = START + timedelta(days=20)
SIDES = ("B001", "B002", "B002/BACK", "J001")


def spots_and_signs(rgb: np.ndarray, context: PhotoContext) -> tuple[MeasuredVessel, ...]:
    """As painted, with spots of two colours in four places, which the area tells, and signs on odd percents.

    Now and then a photo bears no percent, and shows its spots all the same.
    """
    return tuple(map(_varied, read_paint(rgb, context)))


def _varied(one: MeasuredVessel) -> MeasuredVessel:
    marks = []
    for mark in one.reading.suspects:
        number = round(mark.area_cm2)
        box = (2 + 40 * (number % 4), 3 + 9 * (number % 5), 10, 10)
        marks.append(replace(mark, box=box, colour=("green", "pink-orange")[number % 2]))
    is_odd = round(one.reading.percent or 0.0) % 2 == 1
    signs = (Sign("wet_patch", (3, 4, 5, 6), 2.0), Sign("sharp_front", (9, 9, 4, 4), 1.0)) if is_odd else ()
    if round(one.reading.percent or 0.0) % 3 == 0:
        refused = replace(one.reading, status="unusable", reason="retake: glare", percent=None, suspects=tuple(marks))
        return MeasuredVessel(refused)
    return replace(one, reading=replace(one.reading, suspects=tuple(marks), signs=signs))


@pytest.fixture
def vision(monkeypatch: pytest.MonkeyPatch) -> Vision:
    made = replace(painted_vision(), measure_photo=spots_and_signs, continue_series=as_they_are)
    monkeypatch.setattr("farm.measure.series.load_vision", lambda: made)
    return made


class Grower:
    """Someone who does things to a farm in a random order."""

    def __init__(self, farm: Farm, folder: Path, vision: Vision, seed: int) -> None:
        self.farm, self.folder, self.vision, self.rng = farm, folder, vision, Random(seed)
        self.day = 2.0

    def take_photo(self) -> None:
        self.day += self.rng.choice((0.5, 1.0))
        self._photograph(self.day)

    def send_late_photo(self) -> None:
        self._photograph(round(self.rng.uniform(1.0, self.day), 2))

    def measure_again(self) -> None:
        photos = sorted((self.folder / "photos").iterdir())
        chosen = self.rng.sample(photos, min(2, len(photos)))
        measure_paths(self.farm, chosen, RunOptions(again=True), vision=self.vision)

    def shake(self) -> None:
        add_event(self.farm, self._vessel(), "shaken", START + timedelta(days=round(self.rng.uniform(1, 12), 2)))

    def take_shake_back(self) -> None:
        for one in [one for one in list_events(self.farm) if one.event == "shaken"][:1]:
            remove_event(self.farm, one.vessel, one.event, one.at)

    def judge(self) -> None:
        items = review_items(self.farm, list_outlooks(self.farm), everything=True)
        for item in self.rng.sample(items, min(1, len(items))):
            verdict = self.rng.choice(get_args(Verdict))
            give_verdict(self.farm, items, item.vessel, verdict, subject=item.key)

    def call_reading_wrong(self) -> None:
        items, readings = review_items(self.farm, list_outlooks(self.farm)), list_readings(self.farm)
        if items and readings:
            reading = self.rng.choice(readings)
            wrong = replace(items[0], vessel=reading.vessel or "", subject=MISFIT, standing="open", reading=reading)
            give_verdict(self.farm, [wrong], wrong.vessel, "confirmed")

    def undo(self) -> None:
        undo_verdict(self.farm, self._vessel())

    def correct_vessel(self) -> None:
        table = self.folder / "corrected.csv"
        vessel, place = self._vessel(), self.rng.choice(("on_face", "below"))
        kind = "jar" if vessel.startswith("J") else "bag"
        day = self.rng.choice(("2026-02-27", "2026-03-01", "2026-03-02"))
        table.write_text(
            f"id,kind,species,substrate,inoculated,label_place\n{vessel},{kind},shiitake,sawdust,{day},{place}\n"
        )
        import_vessels(self.farm, table, update_known=True)

    def close_or_reopen(self) -> None:
        close_vessel(self.farm, self._vessel(), state=self.rng.choice(("closed", "running", "running")))

    def _vessel(self) -> str:
        return self.rng.choice(("B001", "B002", "J001"))

    def _photograph(self, day: float) -> None:
        shown = [(vessel, self.rng.randrange(0, 100), self.rng.choice((0, 0, 1, 2, 3, 4, 6, 9))) for vessel in SIDES]
        at = START + timedelta(days=day)
        photo = paint(self.folder / "photos" / f"{at:%Y%m%d_%H%M%S}.png", *self.rng.sample(shown, 3))
        measure_paths(self.farm, [photo], vision=self.vision)


@pytest.mark.parametrize("seed", range(3))
def test_after_any_order_of_work_the_list_and_the_review_are_as_if_all_were_worked_out_anew(
    farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision, seed: int
) -> None:
    import_vessels(farm, vessels_csv)
    grower = Grower(farm.at(NOW), tmp_path, vision, seed)
    often = [grower.take_photo, grower.judge, grower.undo]
    works: list[Callable[[], None]] = [
        *often,
        *often,
        grower.send_late_photo,
        grower.measure_again,
        grower.shake,
        grower.take_shake_back,
        grower.call_reading_wrong,
        grower.correct_vessel,
        grower.close_or_reopen,
    ]
    grower.take_photo()
    n_suspects = n_without_percent = 0
    for _ in range(16):
        try:
            grower.rng.choice(works)()
        except (EventError, ReviewError, VesselChangeError):
            continue  # nothing to take back or to judge
        kept = everything_told(grower.farm)
        forget(grower.farm)
        assert everything_told(grower.farm) == kept
        for one in bring_up_to_date(grower.farm):
            readings = list_readings(farm, vessel=one.vessel.id)
            usable = [face for face in readings if face.status == "ok"]
            others = [face for face in readings if face.status != "ok" and face.suspects]
            assert one.seen == what_is_seen(one.vessel, usable, one.shaken_at, others)
            newest = [face for face in readings if all(face.taken_at >= other.taken_at for other in readings)]
            refused = bool(newest) and all(face.status != "ok" for face in newest)
            assert (one.refused in newest) if refused else (one.refused is None)
            n_suspects += len(one.seen.suspects)
            n_without_percent += sum(suspect.last.reading.percent is None for suspect in one.seen.suspects)
    assert n_suspects > 20
    assert n_without_percent > 0


def everything_told(farm: Farm) -> list[object]:
    """Today's list and the review, also of what is not open, as of now and as of an earlier moment."""
    found: list[object] = []
    for then in (farm, farm.at(START + timedelta(days=6))):
        found += [told(then), review_items(then, list_outlooks(then), everything=True)]
    return found


@pytest.mark.parametrize("damage", ["an older version", "another program", "half of it"])
def test_a_summary_of_an_older_version_or_a_damaged_one_is_made_anew(
    farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision, damage: str
) -> None:
    import_vessels(farm, vessels_csv)
    grower = Grower(farm.at(NOW), tmp_path, vision, 5)
    for _ in range(6):
        grower.take_photo()
    right = told(grower.farm)
    before = kept_texts(farm)
    version, program, facts = before["B002"].split(" ", 2)
    assert '"suspects":[{' in facts
    false = facts.replace('"n_readings":', '"n_readings":9').replace("green", "black")
    older = {
        "an older version": f"{int(version) - 1} {program} {false}",
        "another program": f"{version} 0.0.9 {false}",
        "half of it": before["B002"][:-40],
    }[damage]
    with farm.writing() as connection:
        connection.execute(update(vessels).where(vessels.c.id == "B002").values(summary=older))
    assert told(grower.farm) == right
    assert kept_texts(farm) == before


def test_a_colour_that_the_farm_calls_normal_for_a_species_counts_for_kept_suspects_too(
    farm: Farm, vessels_csv: Path, tmp_path: Path, vision: Vision
) -> None:
    import_vessels(farm, vessels_csv)
    grower = Grower(farm.at(NOW), tmp_path, vision, 5)
    for _ in range(6):
        grower.take_photo()
    before = {one.subject: one.standing for one in review_items(grower.farm, bring_up_to_date(grower.farm))}
    assert before["pink-orange"] == "open"
    text = (farm.folder / "farm.toml").read_text("utf-8")
    (farm.folder / "farm.toml").write_text(f'{text}\n[species.oyster]\ncolours = ["pink"]\n', "utf-8")
    with open_farm(farm.folder) as opened:
        then = opened.at(NOW)
        items = review_items(then, list_outlooks(then), everything=True)
        pink = [one for one in items if one.subject == "pink-orange" and one.vessel.startswith("B")]
        assert {one.standing for one in pink} == {"own colour"}
        assert all("its species has of its own" in one.why for one in pink)


def kept_texts(farm: Farm) -> dict[str, str]:
    with farm.reading() as connection:
        return {row.id: row.summary for row in connection.execute(select(vessels.c.id, vessels.c.summary))}
