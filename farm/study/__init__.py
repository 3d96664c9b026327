"""Learning from the farm's own records: lineage, groups compared, agreement with eye and truth, the camera."""

from farm.study.agreement_by_eye import EyeCheck, EyePair, check_by_eye
from farm.study.agreement_stats import Estimate, MethodAgreement
from farm.study.agreement_with_truth import Agreement, DayAgreement, compare_days, compare_with_truth, mean_error_of
from farm.study.averages import Average, compare_means
from farm.study.camera_report import Calibration, Finding, calibrate_camera
from farm.study.colonies import ColonyGrowth, colony_growth
from farm.study.compare import By, Compared, compare_groups
from farm.study.lineage import Branch, lineage_tree
from farm.study.losses import FATES, Fate, LossBy, LossGroup, LossStage, group_fates, loss_groups, vessel_fates
from farm.study.trace import CANNOT_TELL, Kin, Kinship, Rate, Trace, kinship_of, rate_interval, trace_vessel
from farm.study.yields import YieldBy, YieldGroup, yield_groups

__all__ = [
    "CANNOT_TELL",
    "FATES",
    "Agreement",
    "Average",
    "Branch",
    "By",
    "Calibration",
    "ColonyGrowth",
    "Compared",
    "DayAgreement",
    "Estimate",
    "EyeCheck",
    "EyePair",
    "Fate",
    "Finding",
    "Kin",
    "Kinship",
    "LossBy",
    "LossGroup",
    "LossStage",
    "MethodAgreement",
    "Rate",
    "Trace",
    "YieldBy",
    "YieldGroup",
    "calibrate_camera",
    "check_by_eye",
    "colony_growth",
    "compare_days",
    "compare_groups",
    "compare_means",
    "compare_with_truth",
    "group_fates",
    "kinship_of",
    "lineage_tree",
    "loss_groups",
    "mean_error_of",
    "rate_interval",
    "trace_vessel",
    "vessel_fates",
    "yield_groups",
]
