"""The farm's records (vessels, photos, readings, events, reviews), the batch run, and today's list."""

from farm.backup import Backup, back_up
from farm.backwards import plan_target
from farm.batch import BatchOptions, MeasuredPhoto, measure_paths, read_layout
from farm.batches import BatchView, batch_views
from farm.by_eye import EyeCheck, EyePair, check_by_eye
from farm.camera_check import Calibration, Finding, calibrate_camera
from farm.cameras import forget_profile, keep_profile, load_profiles
from farm.changes import Change, changes_since, day_before
from farm.check import check_farm
from farm.clock import after_days, day_words, days_between, iso, now, on_farm_clock, span_words, to_instant
from farm.cluster import cluster_executor
from farm.colonies import ColonyDay, ColonyGrowth, colony_growth
from farm.compare import Average, By, Compared, compare_groups, compare_means
from farm.concordance import Estimate, MethodAgreement
from farm.damage import Damage
from farm.demo import make_demo_farm
from farm.errors import (
    BackupError,
    CalibrationError,
    ClusterError,
    FarmBusyError,
    FarmExistsError,
    FarmFullError,
    InputFileError,
    NewerFarmError,
    NotAFarmError,
    NothingToMeasureError,
    OutputFolderError,
    PlanError,
    ReviewError,
    SettingsError,
    SpawnrunError,
    UnknownVesselError,
    WorkersLostError,
)
from farm.eyes import Eyes, open_eyes
from farm.flags import explain_flags, flag_words
from farm.jobs import Work, all_cores, run_jobs
from farm.lineage import Branch, lineage_tree
from farm.outlook import Misfit, Moments, Outlook, daily_curve, fetched_ahead, fit_alone, list_paces, look_ahead
from farm.percent_table import TableForecast, forecast_table
from farm.pictures import check_class_map_folder, write_class_maps
from farm.places import face_box_of
from farm.plan import Amount, GrainUse, Plan, PlanLine, make_plan
from farm.readings import list_readings, records_mark
from farm.records import (
    MISFIT,
    Event,
    FaceFrame,
    KeptReading,
    Note,
    Place,
    Review,
    SignMark,
    SuspectMark,
    Verdict,
    Vessel,
    means_contamination,
)
from farm.restore import restore_farm
from farm.review_item import ReviewItem
from farm.reviews import review_items
from farm.series import read_stale_series
from farm.server import PASSWORD_VARIABLE
from farm.settings import SETTINGS_FILE, Settings
from farm.store import (
    Farm,
    create_farm,
    farm_identity,
    find_farm,
    find_farm_folder,
    is_output_folder,
    open_farm,
    output_folder,
)
from farm.strips import PictureSizes, StripFrame, VesselPictures, vessel_pictures
from farm.suspect_pictures import SpotView, crop_jpeg, ringed_jpeg, save_crop, spot_views
from farm.suspects import Sighting, SuspectHistory, follow_suspects
from farm.tables import FORMULA_STARTS, VesselRow, fault_text, moment, read_table, vessel_id
from farm.target import Target, TargetPlan, TargetStep, parse_target
from farm.today import LOOK_FIRST, SECTIONS, TodayItem, list_today, today_list
from farm.trace import CANNOT_TELL, Kin, Rate, Trace, rate_interval, trace_vessel
from farm.verdicts import give_verdict, list_verdicts, undo_verdict
from farm.vessels import (
    ImportCount,
    add_event,
    add_note,
    add_vessels,
    close_vessel,
    get_vessel,
    import_events,
    import_vessels,
    list_events,
    list_taken_out,
    list_vessels,
    notes_of,
    remove_event,
    vessel_of_row,
)
from farm.watch import Arrivals, watch_folder
from farm.with_truth import Agreement, DayAgreement, compare_days, compare_with_truth

__all__ = [
    "CANNOT_TELL",
    "FORMULA_STARTS",
    "LOOK_FIRST",
    "MISFIT",
    "PASSWORD_VARIABLE",
    "SECTIONS",
    "SETTINGS_FILE",
    "Agreement",
    "Amount",
    "Arrivals",
    "Average",
    "Backup",
    "BackupError",
    "BatchOptions",
    "BatchView",
    "Branch",
    "By",
    "Calibration",
    "CalibrationError",
    "Change",
    "ClusterError",
    "ColonyDay",
    "ColonyGrowth",
    "Compared",
    "Damage",
    "DayAgreement",
    "Estimate",
    "Event",
    "EyeCheck",
    "EyePair",
    "Eyes",
    "FaceFrame",
    "Farm",
    "FarmBusyError",
    "FarmExistsError",
    "FarmFullError",
    "Finding",
    "GrainUse",
    "ImportCount",
    "InputFileError",
    "KeptReading",
    "Kin",
    "MeasuredPhoto",
    "MethodAgreement",
    "Misfit",
    "Moments",
    "NewerFarmError",
    "NotAFarmError",
    "Note",
    "NothingToMeasureError",
    "Outlook",
    "OutputFolderError",
    "PictureSizes",
    "Place",
    "Plan",
    "PlanError",
    "PlanLine",
    "Rate",
    "Review",
    "ReviewError",
    "ReviewItem",
    "Settings",
    "SettingsError",
    "Sighting",
    "SignMark",
    "SpawnrunError",
    "SpotView",
    "StripFrame",
    "SuspectHistory",
    "SuspectMark",
    "TableForecast",
    "Target",
    "TargetPlan",
    "TargetStep",
    "TodayItem",
    "Trace",
    "UnknownVesselError",
    "Verdict",
    "Vessel",
    "VesselPictures",
    "VesselRow",
    "Work",
    "WorkersLostError",
    "add_event",
    "add_note",
    "add_vessels",
    "after_days",
    "all_cores",
    "back_up",
    "batch_views",
    "calibrate_camera",
    "changes_since",
    "check_by_eye",
    "check_class_map_folder",
    "check_farm",
    "close_vessel",
    "cluster_executor",
    "colony_growth",
    "compare_days",
    "compare_groups",
    "compare_means",
    "compare_with_truth",
    "create_farm",
    "crop_jpeg",
    "daily_curve",
    "day_before",
    "day_words",
    "days_between",
    "explain_flags",
    "face_box_of",
    "farm_identity",
    "fault_text",
    "fetched_ahead",
    "find_farm",
    "find_farm_folder",
    "fit_alone",
    "flag_words",
    "follow_suspects",
    "forecast_table",
    "forget_profile",
    "get_vessel",
    "give_verdict",
    "import_events",
    "import_vessels",
    "is_output_folder",
    "iso",
    "keep_profile",
    "lineage_tree",
    "list_events",
    "list_paces",
    "list_readings",
    "list_taken_out",
    "list_today",
    "list_verdicts",
    "list_vessels",
    "load_profiles",
    "look_ahead",
    "make_demo_farm",
    "make_plan",
    "means_contamination",
    "measure_paths",
    "moment",
    "notes_of",
    "now",
    "on_farm_clock",
    "open_eyes",
    "open_farm",
    "output_folder",
    "parse_target",
    "plan_target",
    "rate_interval",
    "read_layout",
    "read_stale_series",
    "read_table",
    "records_mark",
    "remove_event",
    "restore_farm",
    "review_items",
    "ringed_jpeg",
    "run_jobs",
    "save_crop",
    "span_words",
    "spot_views",
    "to_instant",
    "today_list",
    "trace_vessel",
    "undo_verdict",
    "vessel_id",
    "vessel_of_row",
    "vessel_pictures",
    "watch_folder",
    "write_class_maps",
]
