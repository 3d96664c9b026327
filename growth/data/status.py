"""The status of a vessel by the days of its forecast: one rule for a new forecast and for a later moment."""

from growth.data.models import Status

#: Below this percent nothing shows yet.
WAITING_PERCENT = 3.0


def status_by_days(as_of_day: float, through_median: float, ready_median: float, *, shows_nothing: bool) -> Status:
    """Status of a growing vessel as of a day: colonised from its median day on, ready after its consolidation.

    Days are since inoculation. shows_nothing: whether neither curve nor readings show growth yet.
    """
    if as_of_day >= through_median:
        return "ready" if as_of_day >= ready_median else "colonised"
    return "waiting" if shows_nothing else "colonising"
