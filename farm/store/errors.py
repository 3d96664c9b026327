"""Expected failures: each names a situation, and its message is for the user."""

from collections.abc import Sequence

#: The number of problems of a file that are named, one a line.
_MOST_NAMED = 20


class SpawnrunError(Exception):
    """Base of every expected failure; the message says what is wrong and what to do."""


class NotAFarmError(SpawnrunError):
    """There is no farm in the folder."""


class FarmExistsError(SpawnrunError):
    """A farm would be made where one stands already."""


class NewerFarmError(SpawnrunError):
    """The records were written by a newer version of this program."""


class FarmBusyError(SpawnrunError):
    """Another process is writing to the records."""


class FarmFullError(SpawnrunError):
    """The disk has no room for the records."""


class FarmShutError(SpawnrunError):
    """The folder or its disk cannot be written, or does not answer."""


class BackupError(SpawnrunError):
    """A backup cannot be made, is damaged, or cannot be restored in that folder."""


class SettingsError(SpawnrunError):
    """The settings file cannot be understood."""


class UnknownVesselError(SpawnrunError):
    """No vessel of that id is in the farm."""


class UnsureError(SpawnrunError):
    """What is asked for is asked about first, and nobody is there to answer; the option that answers it is named."""


class VesselChangeError(SpawnrunError):
    """A vessel cannot be removed, renamed or done with as asked, or that cannot be taken back."""


class EventError(SpawnrunError):
    """An event of a vessel cannot be true, or is not there to be taken back."""


class HarvestError(SpawnrunError):
    """A harvest cannot be true, was noted before, or is not there to be taken back."""


class DoubtfulHarvestError(HarvestError):
    """A harvest is most likely a mistake, and nobody said to be sure of it."""


class NoteError(SpawnrunError):
    """A note has no words."""


class NothingToMeasureError(SpawnrunError):
    """No picture was found where one was expected."""


class PictureFaultError(SpawnrunError):
    """What was handed in is no picture that can be read."""


class OutputFolderError(SpawnrunError):
    """The folder chosen for output holds photos; marked as output, it would be skipped by later runs."""


class OutputPathError(SpawnrunError):
    """A file cannot be written under the name asked for."""


class ReviewError(SpawnrunError):
    """A verdict was given on something that is not up for review."""


class PlanError(SpawnrunError):
    """A goal of a plan cannot be understood or worked on."""


class DamagedFaceError(SpawnrunError):
    """The picture kept of a face cannot be read."""


class CalibrationError(SpawnrunError):
    """A photo shows nothing to calibrate a camera with."""


class WorkersLostError(SpawnrunError):
    """The processes or machines that did the work are gone."""


class ClusterError(SpawnrunError):
    """A cluster cannot be used."""


def first_of(problems: Sequence[str]) -> list[str]:
    """The first problems, each on an indented line, and how many more there are."""
    more = len(problems) - _MOST_NAMED
    shown = [*problems[:_MOST_NAMED], *([f"... and {more} more"] if more > 0 else [])]
    return [f"  {problem}" for problem in shown]


class InputFileError(SpawnrunError):
    """An input table has faults; each is named by line and column, and nothing of it was imported."""

    def __init__(self, source: str, problems: Sequence[str]) -> None:
        super().__init__("\n".join([f"{source}: nothing was taken in", *first_of(problems)]))
        self.problems = tuple(problems)
