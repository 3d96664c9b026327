"""`spawnrun curve`: one vessel's readings, and the curve through them."""

from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path
from typing import Annotated, Literal

import typer

from calibration import Side
from cli.options import AsOfOption, FarmOption, Format, FormatOption, LawOption, WhyOption, chosen_farm, chosen_laws
from cli.pace import print_paces
from cli.printed_vessels import moments_record, rounded
from cli.render import Column, Group, as_command, day_text, echo, percent_text, print_groups, span_text
from farm.outlook import Outlook, VesselReadings, bring_up_to_date, daily_curve, fit_alone, readings_of
from farm.records import get_vessel
from farm.records.models import KeptReading
from farm.review import drop_in_words
from farm.store import Farm, Units, after_days, days_between, iso
from farm.study import ColonyGrowth, colony_growth
from report import STATUS_WORDS, write_plot

_SHOWN_WEIGHT = 0.01
#: Newest readings, and days of the curve, that the table shows; and how many of these days are past.
_READINGS_SHOWN, _DAYS_SHOWN, _PAST_SHOWN = 10, 14, 4

COLUMNS = (
    Column("day", lambda one: f"{one['day']:.1f}", right=True),
    Column("at", lambda one: one["at"].replace("T", " ")),
    Column("side", lambda one: one.get("side", "").replace("front", "")),
    Column("% colonised", percent_text, right=True),
    Column("note", lambda one: one.get("note", "")),
)


@dataclass(frozen=True)
class CurveRecord:
    """A reading, or a day of the curve, of `spawnrun curve`. day: since inoculation; side: "" for the curve."""

    what: Literal["reading", "curve"]
    day: float
    at: str | None
    percent: float | None
    percent_low: float | None
    percent_high: float | None
    side: Side | Literal["both", ""]
    note: str


def curve(
    vessel: Annotated[str | None, typer.Argument(metavar="VESSEL", help="Its id.")] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Also draw it: a .png or .svg file.")
    ] = None,
    pace: Annotated[
        bool, typer.Option("--pace", help="No vessel: what the farm has learned of each species' days.")
    ] = False,
    law: LawOption = None,
    why: WhyOption = False,
    everything: Annotated[bool, typer.Option("--all", help="Every reading and every day of the curve.")] = False,
    as_of: AsOfOption = None,
    style: FormatOption = Format.table,
    folder: FarmOption = None,
) -> None:
    """One vessel's readings and its growth curve with an 80 % band, as a table and as a plot.

    For a plate also its colony: radius, radial rate, sectors that grow faster. --why adds the laws of growth that the
    curve follows, and standard errors. The table has the newest readings and the days around now; --all, JSON and CSV
    have all.

    Example: spawnrun curve B001 --plot b001.svg; spawnrun curve --pace
    """
    if (vessel is None) != pace:
        raise typer.BadParameter("one of a vessel's id and --pace", param_hint="VESSEL")
    with chosen_farm(folder, as_of) as farm:
        if pace:
            print_paces(farm, style)
            return
        wanted = get_vessel(farm, vessel or "")
        outlook = next(one for one in bring_up_to_date(farm, laws=chosen_laws(law)) if one.vessel.id == wanted.id)
        readings = readings_of(farm, [wanted.id])[wanted.id]
        seen, days = _readings(outlook, readings, farm.zone), _curve(outlook, farm.zone)
        n_all = len(seen) + len(days)
        if style is Format.table and not everything:
            seen, days = seen[-_READINGS_SHOWN:], _days_shown(days, farm)
        groups = [
            Group("Readings", seen, if_empty="none yet"),
            Group("Curve, one line a day, with 80 % bounds", days, if_empty="none can be given"),
        ]
        print_groups(groups, COLUMNS, style)
        if n_all > len(seen) + len(days):
            echo(f"\nall {n_all} lines: {as_command('curve', wanted.id, '--all', farm=farm)}")
        if style is Format.table:
            _print_status(farm, outlook)
            if why or law is not None:
                _print_laws(outlook)
            if law is not None:
                _print_fit(outlook, readings, law.value)
            _print_colony(colony_growth(farm, wanted), farm.units, why=why)
        if plot is not None:
            write_plot(outlook, readings.series, plot, zone=farm.zone, through_percent=farm.settings.through_percent)
            echo(f"drawn: {plot}", err=True)


def _readings(outlook: Outlook, readings: VesselReadings, zone: tzinfo | None) -> list[CurveRecord]:
    return [
        CurveRecord(
            what="reading",
            day=round(days_between(outlook.vessel.inoculated_at, one.taken_at), 3),
            at=iso(one.taken_at, zone),
            percent=rounded(one.percent),
            percent_low=rounded(one.percent_low),
            percent_high=rounded(one.percent_high),
            side=one.side,
            note=_note(outlook, readings, one),
        )
        for one in sorted((*readings.series, *readings.left_out), key=lambda one: one.taken_at)
    ]


def _note(outlook: Outlook, readings: VesselReadings, reading: KeptReading) -> str:
    if reading in readings.left_out:
        return "found wrong by a person, left out"
    misfit = outlook.misfit_of(reading)
    return "" if misfit is None else f"does not fit the curve (about {misfit.expected_percent:.0f})"


def _curve(outlook: Outlook, zone: tzinfo | None) -> list[CurveRecord]:
    return [
        CurveRecord(
            what="curve",
            day=round(day, 3),
            at=iso(after_days(outlook.vessel.inoculated_at, day), zone),
            percent=rounded(median),
            percent_low=rounded(low),
            percent_high=rounded(high),
            side="",
            note="",
        )
        for day, median, low, high in daily_curve(outlook)
    ]


def _days_shown(days: list[CurveRecord], farm: Farm) -> list[CurveRecord]:
    """The days of the curve around the farm's now; the last ones where all of them are past."""
    now = iso(farm.now, farm.zone)
    ahead = next((n for n, one in enumerate(days) if one.at is not None and one.at > now), len(days))
    start = max(0, min(ahead - _PAST_SHOWN, len(days) - _DAYS_SHOWN))
    return days[start : start + _DAYS_SHOWN]


def _status_words(farm: Farm, outlook: Outlook) -> str:
    """How a vessel stands, and what to do where something is to be done."""
    if outlook.is_only_forecast:
        return "due by now, no photo since: take one"
    return drop_in_words(farm, outlook) or STATUS_WORDS[outlook.forecast.status]


def _print_status(farm: Farm, outlook: Outlook) -> None:
    forecast, zone = outlook.forecast, farm.zone
    echo(f"\n{outlook.vessel.id}: {_status_words(farm, outlook)}")
    days = vars(moments_record(outlook, zone))
    for word, what in (("colonised through", "through"), ("ready", "ready")):
        if days[f"{what}_median"] is not None:
            echo(f"  {word}: {day_text(days[f'{what}_median'])} (80 % sure: {span_text(days, what)})")
    for note in forecast.notes:
        echo(f"  {note}")
    last = outlook.last
    if last is not None and last.steep_percent is not None:
        echo(f"  of its round face {last.steep_percent:.0f} % turns away by more than 60 degrees: poorly seen there")


def _print_laws(outlook: Outlook) -> None:
    """Which laws of growth the curve follows, and with what share."""
    forecast = outlook.forecast
    if forecast.laws:
        from growth.laws import LAW_WORDS

        weights = sorted(forecast.laws.items(), key=lambda law: -law[1])
        shares = ", ".join(
            f"{LAW_WORDS[law]} ({law}) {weight:.0%}" for law, weight in weights if weight >= _SHOWN_WEIGHT
        )
        echo(f"  it grows like: {shares}")


_UNITS = {"lag_days": "lag {} days", "percent_per_day": "{} % a day at its steepest", "rate_per_day": "rate {} per day"}


def _print_fit(outlook: Outlook, readings: VesselReadings, law: str) -> None:
    """The law's own numbers for this vessel alone, by least squares, each with its standard error."""
    from growth.fit import FittedLaw

    fit = fit_alone(outlook, readings.series, law)
    if not isinstance(fit, FittedLaw):
        echo(f"  by itself: {fit.reason}")
        return
    words = (
        _UNITS.get(name, f"{name.replace('_', ' ')} {{}}").format(f"{value:.2f} (±{fit.errors[name]:.2f})")
        for name, value in fit.values.items()
    )
    echo(f"  by itself: {', '.join(words)}")


def _print_colony(grown: ColonyGrowth | None, units: Units, *, why: bool) -> None:
    if grown is None:
        return
    from growth.fit import RadialRate

    echo("\nColony (the largest):")
    for one in grown.days:
        several = f", {one.n_colonies} colonies" if one.n_colonies > 1 else ""
        echo(
            f"  day {one.day:4.1f}: radius {units.small_length(one.radius_mm):>7}, {units.area(one.area_mm2 / 100):>9},"
            f" {one.dish_percent:.0f} % of the dish{several}"
        )
    whole = grown.rate.whole
    if isinstance(whole, RadialRate):
        error = f" (standard error {units.small_length(whole.error_mm_per_day, 2)})" if why else ""
        rate = f"{units.small_length(whole.mm_per_day, 2)} a day{error}"
        echo(f"  radial rate {rate}, lag {whole.lag_days:.1f} days")
    else:
        echo(f"  no radial rate: {whole.reason}")
    for sector in grown.rate.fast_sectors:
        echo(
            f"  runs ahead from {sector.from_degrees:.0f} to {sector.to_degrees:.0f} degrees, clockwise from the right:"
            f" {units.small_length(sector.mm_per_day, 2)} a day, {sector.times_median:.2f} times the usual"
        )
