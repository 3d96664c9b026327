"""Tables that people hand in (CSV): each row checked, each fault named by line and column, all or nothing."""

import csv
import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, ClassVar, Generic, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, ValidationInfo, field_validator

from calibration import BACK_SUFFIX, Kind, LabelPlace, LabelSize, Use
from farm.records.id_ranges import expand_ids, vessel_id
from farm.store import DateOrder, Quantity, Units, did_you_mean, fault_words, measure_of_text, moment_of_text
from farm.store.errors import InputFileError

#: Beginnings of a cell that a spreadsheet would take for a formula, full-width forms too (OWASP, CSV injection). A text
#: that begins so gets an apostrophe in tables that this program writes, and loses it in those it reads.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\N{FULLWIDTH EQUALS SIGN}", "\N{FULLWIDTH PLUS SIGN}",
                  "\N{FULLWIDTH HYPHEN-MINUS}", "\N{FULLWIDTH COMMERCIAL AT}")  # fmt: skip
METRIC = Units()
#: What was done to a vessel or seen of it. opened: to fruit; pins: the first small mushrooms were seen; spawned,
#: transferred: used up to inoculate others; spent: it bears no more.
EventName = Literal["shaken", "moved", "opened", "pins", "spawned", "transferred", "thrown_out", "spent"]


def moment(text: object, order: DateOrder = "") -> datetime:
    """A date (its first minute) or time as people write it (raises ValueError). order: of a date in numbers."""
    return moment_of_text(text, order)


def _moment_cell(text: object, info: ValidationInfo) -> datetime:
    return moment(text, (info.context or {}).get("date_order", ""))


def _lower(text: object) -> object:
    return text.strip().lower() if isinstance(text, str) else text


def _event_name(text: object) -> object:
    return "_".join(text.lower().replace("-", " ").split()) if isinstance(text, str) else text


def _decimal(text: object) -> object:
    """A number written with a decimal comma, as 12,5; three digits after it may be thousands and are left alone."""
    return text.replace(",", ".") if isinstance(text, str) and re.fullmatch(r"\d+,\d{1,2}", text.strip()) else text


def _millimetres(text: object) -> object:
    """Millimetres of a number, or of one with its unit: "7.5 in", "19 cm"."""
    return measure_of_text(_decimal(text), "length", "mm") if isinstance(text, str) else text


def _celsius(text: object) -> object:
    """Degrees Celsius of a number, or of one with its unit: "68 F"."""
    return measure_of_text(_decimal(text), "temperature", "C") if isinstance(text, str) else text


def _kilograms(text: object) -> object:
    """Kilograms of a number, or of one with its unit: "5 lb", "800 g"."""
    return measure_of_text(_decimal(text), "weight", "kg") if isinstance(text, str) else text


VesselId = Annotated[str, BeforeValidator(vessel_id)]
Moment = Annotated[datetime, BeforeValidator(_moment_cell)]
Length = Annotated[float, BeforeValidator(_millimetres), Field(gt=0, le=5000, allow_inf_nan=False)]
Celsius = Annotated[float, BeforeValidator(_celsius), Field(ge=-10, le=60, allow_inf_nan=False)]
Kilograms = Annotated[float, BeforeValidator(_kilograms), Field(gt=0, le=1000, allow_inf_nan=False)]
Percent = Annotated[float, BeforeValidator(_decimal), Field(ge=0, le=100, allow_inf_nan=False)]


class TableRow(BaseModel):
    """What every kind of row shares: blanks are trimmed, unknown columns are let pass.

    other_names: names of columns that are accepted too, such as those of older tables. takes_ranges: a row whose vessel
    is a range, such as B001..B020, stands for a row of each.
    """

    takes_ranges: ClassVar[bool] = False
    other_names: ClassVar[dict[str, str]] = {}
    #: Columns that name no unit: a number in them is in the farm's.
    in_farm_units: ClassVar[dict[str, Quantity]] = {}
    # Validators are made at the first row: a list reads no table, and making all takes longer than the list itself.
    model_config = ConfigDict(frozen=True, extra="ignore", str_strip_whitespace=True, defer_build=True)


class VesselRow(TableRow):
    """A row of vessels.csv."""

    takes_ranges: ClassVar[bool] = True
    other_names: ClassVar[dict[str, str]] = {
        "id": "vessel", "inoculated_at": "inoculated", "face_width": "face_width_mm", "face_height": "face_height_mm",
        "diameter": "diameter_mm", "temperature": "temperature_c", "contents": "contents_kg",
    }  # fmt: skip
    in_farm_units: ClassVar[dict[str, Quantity]] = {
        "face_width": "length", "face_height": "length", "diameter": "length", "temperature": "temperature",
        "contents": "weight",
    }  # fmt: skip
    vessel: VesselId
    kind: Annotated[Kind, BeforeValidator(_lower)]
    inoculated: Moment
    species: str = ""
    substrate: str = ""
    batch: str = ""
    source: str = ""
    face_width_mm: Length | None = None
    face_height_mm: Length | None = None
    diameter_mm: Length | None = None
    label_size: Annotated[LabelSize | None, BeforeValidator(_lower)] = None
    label_place: Annotated[LabelPlace | None, BeforeValidator(_lower)] = None
    temperature_c: Celsius | None = None
    shelf: str = ""
    use: Annotated[Use | None, BeforeValidator(_lower)] = None
    contents_kg: Kilograms | None = None

    @field_validator("vessel")
    @classmethod
    def _names_a_vessel(cls, text: str) -> str:
        if text.endswith(BACK_SUFFIX):
            raise ValueError(
                f"{BACK_SUFFIX} marks the label of a vessel's back; the vessel is {text[: -len(BACK_SUFFIX)]}"
            )
        return text

    @field_validator("source")
    @classmethod
    def _came_from_another(cls, text: str, row: ValidationInfo) -> str:
        if text.upper() == row.data.get("vessel"):
            raise ValueError("a vessel did not come from itself")
        return text


class EventRow(TableRow):
    """A row of events.csv."""

    takes_ranges: ClassVar[bool] = True
    vessel: VesselId
    event: Annotated[EventName, BeforeValidator(_event_name)]
    at: Moment
    why: str = ""


class PercentRow(TableRow):
    """A row of a table of readings made by eye or by any other means."""

    other_names: ClassVar[dict[str, str]] = {"inoculated_at": "inoculated"}
    vessel: Annotated[str, Field(min_length=1)]
    kind: Annotated[Kind, BeforeValidator(_lower)]
    inoculated: Moment
    taken_at: Moment
    percent: Percent
    species: str = ""
    substrate: str = ""
    batch: str = ""
    temperature_c: Celsius | None = None
    percent_low: Percent | None = None
    percent_high: Percent | None = None


class PercentEventRow(EventRow):
    """An event beside a table of readings; the vessel's name is free."""

    takes_ranges: ClassVar[bool] = False
    vessel: Annotated[str, Field(min_length=1)]


class RegionRow(TableRow):
    """A row of a layout file: where a fixed camera sees a vessel, in pixels of the upright photo."""

    vessel: VesselId
    left: Annotated[int, Field(ge=0)]
    top: Annotated[int, Field(ge=0)]
    width: Annotated[int, Field(gt=0)]
    height: Annotated[int, Field(gt=0)]


AnyRow = TypeVar("AnyRow", bound=TableRow)


@dataclass(frozen=True)
class Line(Generic[AnyRow]):
    """A checked row, the line it stood on, and what stood in columns that the program does not know."""

    number: int
    row: AnyRow
    extra: dict[str, str]


def read_table(source: Path, model: type[AnyRow], date_order: DateOrder = "") -> list[Line[AnyRow]]:
    """All rows of a CSV file (UTF-8, a header; commas, semicolons or tabs). Raises InputFileError naming all faults."""
    lines, problems = check_table(source, model, date_order)
    if problems:
        raise InputFileError(str(source), problems)
    return lines


def check_table(
    source: Path, model: type[AnyRow], date_order: DateOrder = "", units: Units = METRIC
) -> tuple[list[Line[AnyRow]], list[str]]:
    """The sound rows of a CSV file, and the faults of the others. Raises InputFileError where it has no rows."""
    problems: list[str] = []
    context = {"date_order": date_order}
    quantities = model.in_farm_units
    lines = [
        _checked(number, _with_units(one, given, quantities, units), given, model, problems, context, units)
        for number, cells, given in _cells(source, model)
        for one in (_each_vessel(number, cells, problems) if model.takes_ranges else [cells])
    ]
    if not lines and not problems:
        raise InputFileError(str(source), ["the table is empty: it has no rows below its header"])
    return [line for line in lines if line is not None], problems


def _each_vessel(number: int, cells: dict[str | None, Any], problems: list[str]) -> list[dict[str | None, Any]]:
    """The cells of a row once for each vessel of its range; as they are where it names a single one."""
    text = str(cells.get("vessel") or "").strip()
    if ".." not in text:
        return [cells]
    try:
        return [cells | {"vessel": one} for one in expand_ids([text])]
    except ValueError as error:
        problems.append(f"line {number}, column vessel: {error}")
        return []


def _with_units(
    cells: dict[str | None, Any], given: Mapping[str, str], quantities: Mapping[str, Quantity], units: Units
) -> dict[str | None, Any]:
    """The cells, with the farm's unit behind each number whose column and text name none. given: how it is headed."""
    mine = {name: quantities[head] for name, head in ((one, given[one].lower()) for one in given) if head in quantities}
    return {
        name: in_farm_unit(text, mine[name], units) if name in mine and isinstance(text, str) else text
        for name, text in cells.items()
    }


def in_farm_unit(text: str, quantity: Quantity, units: Units) -> str:
    """A number without a unit with the farm's behind it; another text as it is."""
    is_bare = text.strip().replace(".", "", 1).replace(",", "", 1).lstrip("-").isdigit()
    return f"{text.strip()} {units.unit_of(quantity)}" if is_bare else text


def by_line(problems: Sequence[str]) -> list[str]:
    """Faults of a table, each beginning with "line" and its number, in the order of their lines."""
    return sorted(problems, key=lambda problem: int(problem.split()[1].rstrip(",:")))


def column_question(name: str, model: type[TableRow]) -> str:
    """What an unknown column may have been meant for, such as "; did you mean species?"; "" where none is alike."""
    return did_you_mean(name.lower(), [*model.model_fields, *model.other_names])


def fault_text(
    error: ValidationError, cells: dict[str, Any], given: Mapping[str, str] | None = None, units: Units = METRIC
) -> list[str]:
    """Each fault of a row as `column inoculated: ...`. given: how the table itself calls a column.

    units: of a limit where the name that is given to the column does not say its unit.
    """
    faults = []
    for fault in error.errors():
        column = str(fault["loc"][0])
        value = cells.get(column)
        name = (given or {}).get(column, column)
        faults.append(
            f"column {name}: {f'{value!r}: ' if value else ''}{fault_words(fault, _limits(column, name, units))}"
        )
    return faults


def _limits(column: str, name: str, units: Units) -> Callable[[float], str] | None:
    """How the limits of a column are written: with the farm's unit, None where its name in the table has the unit."""
    for end, shown in (("_mm", units.length), ("_c", units.temperature), ("_kg", units.weight)):
        if column.endswith(end) and not name.lower().endswith(end):
            return shown
    return None


def _cells(source: Path, model: type[TableRow]) -> Iterator[tuple[int, dict[str | None, Any], dict[str, str]]]:
    """Line number and cells of each row by our names of its columns, and how the table itself calls these."""
    needed = [name for name, field in model.model_fields.items() if field.is_required()]
    try:
        with source.open(newline="", encoding="utf-8-sig") as file:
            header = file.readline()
            if not header.strip():
                raise InputFileError(
                    str(source), ["the file is empty" if not header else "line 1: no names of columns"]
                )
            file.seek(0)
            # Spreadsheets set to write decimal commas separate columns with semicolons.
            separator = max(",;\t", key=header.count)
            reader = csv.DictReader(file, skipinitialspace=True, delimiter=separator)
            header_names = [name.strip() for name in reader.fieldnames or []]
            names = [_known_name(name, model) for name in header_names]
            given = dict(zip(names, header_names, strict=True))
            if missing := [name for name in needed if name not in names]:
                strange = [name for name in names if name not in model.model_fields]
                raise InputFileError(
                    str(source), [f"line 1: no column {name}{_meant(name, strange)}" for name in missing]
                )
            if twice := sorted({name for name in names if name and names.count(name) > 1}):
                raise InputFileError(
                    str(source), [f"line 1: column {given[name]} stands there twice" for name in twice]
                )
            reader.fieldnames = names
            for cells in reader:
                yield reader.line_num, cells, given
    except UnicodeDecodeError:
        raise InputFileError(str(source), ["not a text in UTF-8; spreadsheets save it as CSV UTF-8"]) from None
    except csv.Error as error:
        raise InputFileError(str(source), [f"not readable as CSV: {error}"]) from None
    except OSError as error:
        raise InputFileError(str(source), [error.strerror or "cannot be read"]) from None


def _meant(missing: str, strange: Collection[str]) -> str:
    """Which unknown column may have been meant for a missing one, in words; "" for none."""
    alike = get_close_matches(missing, strange, n=1)
    return f"; column {alike[0]} is not known: did you mean {missing}?" if alike else ""


def _known_name(name: str, model: type[TableRow]) -> str:
    """A column's name as the program knows it: `Inoculated` is `inoculated`; an unknown one as it stands."""
    lower = model.other_names.get(name.lower(), name.lower())
    return lower if lower in model.model_fields else name


def _plain(text: str) -> str:
    """The text without the apostrophe that keeps it from being a formula."""
    return text[1:] if text.startswith("'") and text.lstrip("'").startswith(FORMULA_STARTS) else text


def _checked(
    number: int,
    cells: dict[str | None, Any],
    given: Mapping[str, str],
    model: type[AnyRow],
    problems: list[str],
    context: Mapping[str, str],
    units: Units,
) -> Line[AnyRow] | None:
    if cells.get(None):
        problems.append(f"line {number}: more cells than columns in the header")
        return None
    filled = {name: _plain(text.strip()) for name, text in cells.items() if name and text is not None and text.strip()}
    try:
        row = model.model_validate(filled, context=context)
    except ValidationError as error:
        problems += [f"line {number}, {fault}" for fault in fault_text(error, filled, given, units)]
        return None
    return Line(number, row, {name: text for name, text in filled.items() if name not in model.model_fields})
