"""A farm folder: created, found, opened, refused."""

import sqlite3
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from farm.records import add_note, add_vessels, import_vessels, list_readings, list_verdicts, list_vessels
from farm.records.models import Vessel
from farm.store import Farm, create_farm, find_farm, now, open_farm, record_version
from farm.store import database as farm_database
from farm.store.errors import FarmBusyError, FarmExistsError, NewerFarmError, NotAFarmError, SettingsError
from farm.store.schema import MIGRATIONS
from tests.farm.older import columns_of, make_version_1
from tests.farm.painted import at


def test_a_farm_is_found_from_any_folder_inside_it(farm: Farm) -> None:
    below = farm.folder / "photos" / "today"
    below.mkdir(parents=True)
    with find_farm(below) as found:
        assert found.folder == farm.folder
        assert found.settings == farm.settings


def test_a_second_farm_in_the_same_folder_is_refused(farm: Farm) -> None:
    with pytest.raises(FarmExistsError, match="is a farm already"):
        create_farm(farm.folder)


def test_the_message_without_a_farm_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(NotAFarmError, match="spawnrun init"):
        find_farm(tmp_path)
    with pytest.raises(NotAFarmError, match="is not a farm"):
        open_farm(tmp_path)


def test_records_of_a_newer_program_are_left_alone(farm: Farm) -> None:
    with sqlite3.connect(farm.folder / "records.sqlite") as records:
        records.execute("UPDATE meta SET value = '99' WHERE key = 'schema_version'")
    records.close()
    with pytest.raises(NewerFarmError, match="version 99"):
        open_farm(farm.folder)


def test_a_file_that_is_not_a_database_is_reported(farm: Farm) -> None:
    farm.close()
    (farm.folder / "records.sqlite").write_bytes(b"not a database at all" * 400)
    with pytest.raises(NotAFarmError, match=r"damaged|no database"):
        open_farm(farm.folder)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("through_percent = 12", "through_percent"),
        ("threshold = 99", "threshold"),
        ("through_percent = ", "not readable as TOML"),
        ("days_ahead = 'a week'", "days_ahead"),
        ("as_of = 9999-12-31T23:00:00", "as_of: the year 9999 is not between 1900 and 2999"),
        ("time_zone = 'Mars/Base'", "not a known time zone"),
        ('[consolidation_days]\n"oyster jar" = -500', r"consolidation_days\.oyster jar: must be 0 or more"),
        ("[consolidation_days]\nshiitake = 366", r"consolidation_days\.shiitake: must be 365 or less"),
        ('[consolidation_days]\n"oister jar" = 2', '"oister jar" is neither a known .*; did you mean oyster jar'),
        ("[consolidation_days]\nxyz = 2", "neither a known .*; known species: almond, button"),
    ],
)
def test_invalid_settings_are_reported(farm: Farm, text: str, said: str) -> None:
    (farm.folder / "farm.toml").write_text(text, "utf-8")
    with pytest.raises(SettingsError, match=said):
        open_farm(farm.folder)


def test_the_file_of_a_new_farm_has_the_default_settings(farm: Farm) -> None:
    (farm.folder / "farm.toml").write_text("", "utf-8")
    with open_farm(farm.folder) as opened:
        assert opened.settings == farm.settings


def test_settings_are_read_from_the_file(farm: Farm) -> None:
    (farm.folder / "farm.toml").write_text(
        "days_ahead = 3\nas_of = 2026-03-16T18:00:00Z\n[consolidation_days]\nshiitake = 60\n"
    )
    with open_farm(farm.folder) as opened:
        assert opened.settings.days_ahead == 3
        assert opened.now.isoformat() == "2026-03-16T18:00:00+00:00"
        assert opened.settings.consolidation_days == {"shiitake": 60}


def test_consolidation_can_be_set_for_any_name_of_a_species_and_for_own_strains(farm: Farm) -> None:
    (farm.folder / "farm.toml").write_text(
        '[consolidation_days]\n"Pleurotus ostreatus" = 2\nking_oyster = 365\n"barn strain bag" = 0\n'
        '[species."barn strain"]\nlike = "oyster"\n'
    )
    with open_farm(farm.folder) as opened:
        assert opened.settings.consolidation_days == {
            "Pleurotus ostreatus": 2,
            "king_oyster": 365,
            "barn strain bag": 0,
        }


def test_records_locked_by_another_process_are_reported(
    farm: Farm, vessels_csv: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import_vessels(farm, vessels_csv)
    monkeypatch.setattr(farm_database, "BUSY_SECONDS", 0.05)
    other = sqlite3.connect(farm.folder / "records.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        with open_farm(farm.folder) as opened, pytest.raises(FarmBusyError, match="another process"):
            add_note(opened, "B001", "while the other writes")
    finally:
        other.close()


def test_records_of_an_older_version_are_migrated(tmp_path: Path) -> None:
    """Version 1 had no frame or side of a face, no place of a verdict, no temperature, no use. Its content is kept, and
    the migrations give the same tables as a new farm: names, types and nullability."""
    with create_farm(tmp_path / "old") as made:
        add_vessels(made, [Vessel("B001", "bag", now(), use="fruiting")])
        with made.writing() as connection:
            fresh = columns_of(connection)
            make_version_1(connection)
            connection.execute(
                text("INSERT INTO reviews (vessel, subject, verdict, at, by, note) VALUES ('B001', 'green', 'watched',"
                     " '2026-03-01 08:00:00.000000', 'Ann', '')")
            )  # fmt: skip
    for _ in range(2):
        with open_farm(tmp_path / "old") as opened:
            assert [(one.subject, one.by, one.place, one.undone_at) for one in list_verdicts(opened)] == [
                ("green", "Ann", None, None)
            ]
            assert list_readings(opened) == []
            assert [(one.temperature_c, one.use) for one in list_vessels(opened)] == [(None, None)]
            with opened.reading() as connection:
                assert columns_of(connection) == fresh


#: Columns of forecasts added in version 7.
LEARNED = ("base", "batches", "whole", "taught")


def test_forecasts_of_version_6_are_kept_without_a_whole_fit(tmp_path: Path) -> None:
    with create_farm(tmp_path / "old") as made, made.writing() as connection:
        for name in LEARNED:
            connection.execute(text(f"ALTER TABLE forecasts DROP COLUMN {name}"))
        for older in (
            "vessels DROP COLUMN use",
            "vessels DROP COLUMN contents_kg",
            "events DROP COLUMN why",
            "vessels DROP COLUMN taken_back",
        ):
            connection.execute(text(f"ALTER TABLE {older}"))
        connection.execute(text("DROP TABLE harvests"))
        connection.execute(text("INSERT INTO forecasts VALUES ('k', '2026-03-01 08:00:00.000000', '[]')"))
        connection.execute(text("UPDATE meta SET value = '6' WHERE key = 'schema_version'"))
    with open_farm(tmp_path / "old") as opened, opened.reading() as connection:
        assert [tuple(row) for row in connection.execute(text("SELECT * FROM forecasts"))] == [
            ("k", "2026-03-01 08:00:00.000000", "[]", None, None, None, None)
        ]


def older(folder: Path) -> Path:
    """Make a farm of version 1; its records."""
    with create_farm(folder) as made, made.writing() as connection:
        make_version_1(connection)
    return folder / "records.sqlite"


def test_records_are_copied_before_they_are_migrated(tmp_path: Path) -> None:
    records = older(tmp_path / "old")
    open_farm(records.parent).close()
    (copy,) = records.parent.glob("records-v1-*.sqlite")
    with closing(sqlite3.connect(copy)) as kept:
        assert kept.execute("SELECT value FROM meta WHERE key = 'schema_version'").fetchone() == ("1",)
        assert kept.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert "shelf" not in [row[1] for row in kept.execute("PRAGMA table_info(vessels)")]
    open_farm(records.parent).close()
    assert len(list(records.parent.glob("records-v*.sqlite"))) == 1


def test_only_the_newest_copies_are_kept(tmp_path: Path) -> None:
    records = older(tmp_path / "old")
    for year in range(2001, 2007):
        copy = tmp_path / "old" / f"records-v2-{year}-01-01T000000Z.sqlite"
        copy.touch()
        at(copy, f"{year}-01-01")
    open_farm(records.parent).close()
    left = sorted(path.name[:15] for path in records.parent.glob("records-v*.sqlite"))
    assert left == [f"records-v1-{now():%Y}", "records-v2-2005", "records-v2-2006"]


def test_a_migration_that_fails_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    records = older(tmp_path / "old")
    broken = {**MIGRATIONS, 4: (*MIGRATIONS[4][:2], "ALTER TABLE nowhere ADD COLUMN x")}
    with monkeypatch.context() as patched:
        patched.setattr(record_version, "MIGRATIONS", broken)
        with pytest.raises(OperationalError, match="nowhere"):
            open_farm(records.parent)
    with closing(sqlite3.connect(records)) as kept:
        assert "shelf" not in [row[1] for row in kept.execute("PRAGMA table_info(vessels)")]
    open_farm(records.parent).close()


def test_two_processes_can_migrate_the_same_records(tmp_path: Path) -> None:
    records = older(tmp_path / "old")
    with ThreadPoolExecutor(4) as several:
        for opened in several.map(open_farm, [records.parent] * 4):
            assert list_vessels(opened) == []
            opened.close()
