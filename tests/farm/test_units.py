"""Units by the farm's setting, read and shown.

The inch is 25.4 mm and the pound 0.45359237 kg by the international agreement of 1959; 0 and 100 degrees Celsius are 32
and 212 degrees Fahrenheit.
"""

from pathlib import Path

import pytest

from farm.records import import_vessels, list_vessels
from farm.store import Farm, Units, measure_of_text, open_farm
from farm.store.errors import InputFileError, SettingsError

IMPERIAL = Units("inches", "lb", "F")


def in_imperial(farm: Farm, *changes: tuple[str, str]) -> Farm:
    settings = farm.folder / "farm.toml"
    text = settings.read_text()
    for old, new in (
        ('lengths = "cm"', 'lengths = "inches"'),
        ('weights = "kg"', 'weights = "lb"'),
        ('temperatures = "C"', 'temperatures = "F"'),
        *changes,
    ):
        assert old in text
        text = text.replace(old, new, 1)
    settings.write_text(text)
    return open_farm(farm.folder)


@pytest.mark.parametrize(
    ("text", "quantity", "unit", "value"),
    [
        ("7.5 in", "length", "cm", 190.5),
        ('7,5"', "length", "cm", 190.5),
        ("19cm", "length", "inches", 190),
        ("190 mm", "length", "inches", 190),
        ("7.5", "length", "inches", 190.5),
        ("1 lb", "weight", "kg", 0.45359237),
        ("16 oz", "weight", "kg", 0.45359237),
        ("3 lb 4 oz", "weight", "kg", 3.25 * 0.45359237),
        ("3lb4.5oz", "weight", "kg", (3 + 4.5 / 16) * 0.45359237),
        (".5 kg", "weight", "lb", 0.5),
        ("500 g", "weight", "lb", 0.5),
        ("212 °F", "temperature", "C", 100),
        ("32", "temperature", "F", 0),
        ("-4F", "temperature", "C", -20),
        (24.0, "temperature", "C", 24),
    ],
)
def test_a_number_may_name_its_unit(text: str, quantity: str, unit: str, value: float) -> None:
    assert measure_of_text(text, quantity, unit) == pytest.approx(value)  # type: ignore[arg-type]


def test_a_unit_of_another_quantity_is_refused_and_other_text_is_left_alone() -> None:
    with pytest.raises(ValueError, match="the unit is one of mm, cm, in"):
        measure_of_text("5 kg", "length", "cm")
    assert measure_of_text("wide", "length", "cm") == "wide"


def test_numbers_are_shown_in_the_farm_s_units() -> None:
    metric = Units()
    assert [metric.area(6.4516), metric.length(190.5), metric.weight(2.5), metric.temperature(24)] == [
        "6.5 cm2",
        "19.1 cm",
        "2.5 kg",
        "24 °C",
    ]
    assert [IMPERIAL.area(6.4516), IMPERIAL.length(190.5), IMPERIAL.weight(0.45359237 * 5.5)] == [
        "1.00 sq in",
        "7.5 in",
        "5.5 lb",
    ]
    assert (IMPERIAL.temperature(24), IMPERIAL.small_length(2.54)) == ("75.2 °F", "0.10 in")


def test_a_table_is_read_in_the_farm_s_units(farm: Farm, tmp_path: Path) -> None:
    source = tmp_path / "vessels.csv"
    source.write_text(
        "vessel,kind,inoculated,face_width,temperature,face_height_mm\n"
        "B001,bag,2026-03-02,7.5,68,300\nB002,bag,2026-03-02,19 cm,20 C,12 in\n"
    )
    with in_imperial(farm) as told:
        import_vessels(told, source)
        first, second = list_vessels(told)
    assert (first.face_width_mm, first.temperature_c, first.face_height_mm) == (190.5, 20.0, 300.0)
    assert (second.face_width_mm, second.temperature_c) == (190.0, 20.0)
    assert second.face_height_mm == pytest.approx(304.8)
    source.write_text("vessel,kind,inoculated,face_width\nB003,bag,2026-03-02,5 lb\n")
    with pytest.raises(InputFileError, match="line 2, column face_width: '5 lb': the unit is one of"):
        import_vessels(farm, source)


def test_settings_may_name_their_units(farm: Farm) -> None:
    with in_imperial(farm, ('temperature_c = ""', 'temperature_c = "75.2 F"')) as told:
        assert told.settings.temperature_c == pytest.approx(24)
        assert told.units == IMPERIAL
    settings = farm.folder / "farm.toml"
    settings.write_text(settings.read_text().replace('lengths = "inches"', 'lengths = "feet"'))
    with pytest.raises(SettingsError, match=r"units\.lengths: must be 'cm' or 'inches'"):
        open_farm(farm.folder)
