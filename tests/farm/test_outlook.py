"""The outlook: the farm's input to growth, and the forecasts."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from farm.outlook import list_outlooks
from farm.records import add_event, add_vessels, import_vessels, list_events, list_vessels, remove_event
from farm.records.models import Vessel
from farm.store import Farm
from farm.store.errors import EventError

START = datetime(2026, 3, 1, 8, tzinfo=UTC)


def at_day(farm: Farm, days: float, **settings: object) -> Farm:
    return replace(farm, settings=farm.settings.model_copy(update=settings)).at(START + timedelta(days=days))


def ready_day(farm: Farm, vessel: str = "B001") -> float:
    (day,) = [one.forecast.ready_median for one in list_outlooks(farm) if one.vessel.id == vessel]
    assert day is not None
    return day


def test_the_temperature_of_a_vessel_takes_precedence_over_that_of_the_room(farm: Farm, tmp_path: Path) -> None:
    source = tmp_path / "two.csv"
    source.write_text(
        "id;kind;species;substrate;inoculated;temperature_c\n"
        "B001;block;oyster;straw;2026-03-01T08:00Z;\nB002;block;oyster;straw;2026-03-01T08:00Z;14,5\n"
    )
    import_vessels(farm, source)
    assert [one.temperature_c for one in list_vessels(farm)] == [None, 14.5]
    usual, room = at_day(farm, 2.0), at_day(farm, 2.0, temperature_c=14.5)
    assert ready_day(usual, "B002") > 1.5 * ready_day(usual, "B001")
    assert abs(ready_day(room, "B001") - ready_day(room, "B002")) < 0.01
    told = [note for one in list_outlooks(room) for note in one.forecast.notes if "°C" in note]
    assert len(told) == 1
    assert "oyster at 14.5 °C: expected to take" in told[0]


def test_consolidation_days_are_set_for_a_species_or_for_a_species_in_a_kind(farm: Farm) -> None:
    """Consolidation of a species holds for its blocks; a jar consolidates only if the farm sets it for jars."""
    for name, kind in (("B001", "block"), ("J001", "jar")):
        add_vessels(farm, [Vessel(name, kind, START, species="Pleurotus ostreatus")])
    rests: tuple[dict[str, float], ...] = ({}, {"Oyster": 9.0}, {"oyster jar": 2.0})
    days = [
        {
            one.vessel.id: round((one.forecast.ready_median or 0.0) - (one.forecast.through_median or 0.0), 2)
            for one in list_outlooks(at_day(farm, 2.0, consolidation_days=own))
        }
        for own in rests
    ]
    assert days == [{"B001": 3.0, "J001": 0.0}, {"B001": 9.0, "J001": 0.0}, {"B001": 3.0, "J001": 2.0}]


def test_consolidation_applies_to_fruiting_and_not_to_spawn_for_any_kind(farm: Farm, tmp_path: Path) -> None:
    """The consolidation of the species table, 3 days for oyster; a changed use moves the day at once."""
    source = tmp_path / "bags.csv"
    rows = ["B001,bag,sawdust,", "B002,bag,rye grain,", "B003,bag,sawdust,spawn", "B004,bag,rye grain,fruiting"]
    head = "vessel,kind,substrate,use,species,inoculated"
    source.write_text("\n".join([head, *(f"{row},oyster,2026-03-01T08:00Z" for row in rows)]))
    import_vessels(farm, source)

    def rests() -> list[float]:
        found = [one.forecast for one in list_outlooks(at_day(farm, 2.0))]
        return [round((one.ready_median or 0.0) - (one.through_median or 0.0), 2) for one in found]

    assert rests() == [3.0, 0.0, 0.0, 3.0]
    source.write_text(source.read_text().replace("sawdust,spawn", "sawdust,fruiting"))
    import_vessels(farm, source, update_known=True)
    assert [one.use for one in list_vessels(farm)] == [None, None, "fruiting", "fruiting"]
    assert rests() == [3.0, 0.0, 3.0, 3.0]


def test_an_event_noted_by_mistake_is_undone(farm: Farm) -> None:
    add_vessels(farm, [Vessel("J001", "jar", START)])
    at = START + timedelta(days=4, seconds=20)
    add_event(farm, "J001", "shaken", at)
    with pytest.raises(EventError, match="J001 has no 'moved' at"):
        remove_event(farm, "J001", "moved", at)
    remove_event(farm, "j001", "shaken", at.replace(second=0))
    assert list_events(farm) == []
