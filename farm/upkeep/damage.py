"""What a check of a farm finds."""

from dataclasses import dataclass

RECORDS = "records"


@dataclass(frozen=True)
class Damage:
    """Something in a farm that is not as it was kept.

    what: records, camera, reading, verdict, series, face or photo. where: the file or vessel. advice: what to do.
    is_fault False: worth knowing, but nothing is lost (such as an original that was moved away).
    """

    what: str
    where: str
    found: str
    advice: str
    is_fault: bool = True
