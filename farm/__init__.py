"""The farm's records (vessels, photos, readings, events, reviews), the batch run, and today's list."""

from farm.agreement import Agreement, compare_with_truth
from farm.batch import BatchOptions, MeasuredPhoto, measure_paths, read_layout
from farm.clock import after_days, day_words, days_between, iso, now, on_farm_clock, span_words, to_instant
from farm.demo import make_demo_farm
from farm.errors import (
    FarmBusyError,
    FarmExistsError,
    InputFileError,
    NewerFarmError,
    NotAFarmError,
    NothingToMeasureError,
    ReviewError,
    SettingsError,
    SpawnrunError,
    UnknownVesselError,
)
from farm.eyes import Eyes, open_eyes
from farm.flags import explain_flags, flag_words
from farm.jobs import all_cores, run_jobs
from farm.outlook import Moments, Outlook, TableForecast, daily_curve, forecast_table, look_ahead
from farm.pictures import FacePictures, face_pictures, save_crop, write_class_maps
from farm.readings import list_readings
from farm.records import Event, KeptReading, Note, Review, SuspectMark, Verdict, Vessel
from farm.reviews import DROP, STALL, ReviewItem, give_verdict, list_verdicts, review_items
from farm.series import read_stale_series
from farm.settings import SETTINGS_FILE, Settings
from farm.store import Farm, create_farm, find_farm, open_farm, output_folder
from farm.tables import EventName, VesselRow, fault_text, moment, read_table, vessel_id
from farm.today import SECTIONS, TodayItem, today_list
from farm.vessels import (
    ImportCount,
    add_event,
    add_note,
    add_vessel,
    close_vessel,
    get_vessel,
    import_events,
    import_vessels,
    list_events,
    list_vessels,
    notes_of,
    vessel_of_row,
)

__all__ = [
    "DROP",
    "SECTIONS",
    "SETTINGS_FILE",
    "STALL",
    "Agreement",
    "BatchOptions",
    "Event",
    "EventName",
    "Eyes",
    "FacePictures",
    "Farm",
    "FarmBusyError",
    "FarmExistsError",
    "ImportCount",
    "InputFileError",
    "KeptReading",
    "MeasuredPhoto",
    "Moments",
    "NewerFarmError",
    "NotAFarmError",
    "Note",
    "NothingToMeasureError",
    "Outlook",
    "Review",
    "ReviewError",
    "ReviewItem",
    "Settings",
    "SettingsError",
    "SpawnrunError",
    "SuspectMark",
    "TableForecast",
    "TodayItem",
    "UnknownVesselError",
    "Verdict",
    "Vessel",
    "VesselRow",
    "add_event",
    "add_note",
    "add_vessel",
    "after_days",
    "all_cores",
    "close_vessel",
    "compare_with_truth",
    "create_farm",
    "daily_curve",
    "day_words",
    "days_between",
    "explain_flags",
    "face_pictures",
    "fault_text",
    "find_farm",
    "flag_words",
    "forecast_table",
    "get_vessel",
    "give_verdict",
    "import_events",
    "import_vessels",
    "iso",
    "list_events",
    "list_readings",
    "list_verdicts",
    "list_vessels",
    "look_ahead",
    "make_demo_farm",
    "measure_paths",
    "moment",
    "notes_of",
    "now",
    "on_farm_clock",
    "open_eyes",
    "open_farm",
    "output_folder",
    "read_layout",
    "read_stale_series",
    "read_table",
    "review_items",
    "run_jobs",
    "save_crop",
    "span_words",
    "to_instant",
    "today_list",
    "vessel_id",
    "vessel_of_row",
    "write_class_maps",
]
