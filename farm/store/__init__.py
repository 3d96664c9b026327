"""The farm folder and its database: opening, settings, tables of the schema, clock, and errors shown to users."""

from farm.store.clock import (
    CLOCK_SLACK,
    after_days,
    calendar_days,
    day_words,
    days_between,
    iso,
    now,
    on_farm_clock,
    sane_moment,
    span_words,
    to_instant,
)
from farm.store.database import plain_faults, sqlite_engine
from farm.store.date_text import DateOrder, moment_of_text, without_day_word
from farm.store.fault_text import did_you_mean, fault_words
from farm.store.file_lock import file_lock, work_folder, work_mark
from farm.store.folder import (
    OUTPUT_MARK,
    RECORDS_FILE,
    Farm,
    create_farm,
    farm_identity,
    find_farm,
    find_farm_folder,
    fresh_name,
    is_output_folder,
    open_farm,
    output_folder,
    path_as_kept,
    path_as_text,
    replace_file,
)
from farm.store.json_codec import adapter_of
from farm.store.output_file import output_file
from farm.store.postgresql import PASSWORD_VARIABLE
from farm.store.program import program_version
from farm.store.safe_copy import copy_records, version_in
from farm.store.settings import SETTINGS_FILE, Settings, load_settings
from farm.store.staleness import has_stale_series, in_chunks, mark_read, mark_stale
from farm.store.units import KG_A_POUND, MM_AN_INCH, Quantity, Units, measure_of_text

__all__ = [
    "CLOCK_SLACK",
    "KG_A_POUND",
    "MM_AN_INCH",
    "OUTPUT_MARK",
    "PASSWORD_VARIABLE",
    "RECORDS_FILE",
    "SETTINGS_FILE",
    "DateOrder",
    "Farm",
    "Quantity",
    "Settings",
    "Units",
    "adapter_of",
    "after_days",
    "calendar_days",
    "copy_records",
    "create_farm",
    "day_words",
    "days_between",
    "did_you_mean",
    "farm_identity",
    "fault_words",
    "file_lock",
    "find_farm",
    "find_farm_folder",
    "fresh_name",
    "has_stale_series",
    "in_chunks",
    "is_output_folder",
    "iso",
    "load_settings",
    "mark_read",
    "mark_stale",
    "measure_of_text",
    "moment_of_text",
    "now",
    "on_farm_clock",
    "open_farm",
    "output_file",
    "output_folder",
    "path_as_kept",
    "path_as_text",
    "plain_faults",
    "program_version",
    "replace_file",
    "sane_moment",
    "span_words",
    "sqlite_engine",
    "to_instant",
    "version_in",
    "without_day_word",
    "work_folder",
    "work_mark",
]
