"""Failures that are foreseen: each names a situation, and its message is for the person at the keyboard."""

from collections.abc import Sequence


class SpawnrunError(Exception):
    """Base of every foreseen failure; the message says what is wrong and what to do."""


class NotAFarmError(SpawnrunError):
    """There is no farm in the folder."""


class FarmExistsError(SpawnrunError):
    """A farm would be made where one stands already."""


class NewerFarmError(SpawnrunError):
    """The records were written by a newer version of this program."""


class FarmBusyError(SpawnrunError):
    """Another process holds the records."""


class FarmFullError(SpawnrunError):
    """The disk has no room for the records."""


class BackupError(SpawnrunError):
    """A backup cannot be made, or is damaged, or cannot be restored where it was asked for."""


class SettingsError(SpawnrunError):
    """The settings file cannot be understood."""


class UnknownVesselError(SpawnrunError):
    """No vessel of that id is in the farm."""


class NothingToMeasureError(SpawnrunError):
    """No picture was found where one was expected."""


class OutputFolderError(SpawnrunError):
    """Pictures would be written among photos, which would then be passed over as ours."""


class ReviewError(SpawnrunError):
    """A verdict was given on something that is not up for review."""


class WorkersLostError(SpawnrunError):
    """The processes or machines that did the work are gone."""


class ClusterError(SpawnrunError):
    """A cluster cannot be used."""


class InputFileError(SpawnrunError):
    """A table that was handed in has faults; each is named by line and column, and nothing of it was taken."""

    def __init__(self, source: str, problems: Sequence[str]) -> None:
        shown = [*problems[:20], *([f"... and {len(problems) - 20} more"] if len(problems) > 20 else [])]
        super().__init__("\n".join([f"{source}: nothing was taken in", *(f"  {problem}" for problem in shown)]))
        self.problems = tuple(problems)
