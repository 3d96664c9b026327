"""What `spawnrun curve --pace` prints: how long each species takes on its substrate, as the farm has learned it."""

from calibration import species_name
from cli.options import Format
from cli.render import Column, Record, echo, print_list
from farm.outlook import bring_up_to_date, list_paces
from farm.store import Farm


def _days(record: Record) -> str:
    return f"{record['median_days']:.0f} ({record['low_days']:.0f}\N{EN DASH}{record['high_days']:.0f})"


COLUMNS = (
    Column("kind", lambda one: one["kind"]),
    Column("species", lambda one: species_name(one["species"])),
    Column("substrate", lambda one: one["substrate"]),
    Column("vessels", lambda one: str(one["vessels"]), right=True),
    Column("finished", lambda one: str(one["finished"]), right=True),
    Column("stalled", lambda one: str(one["stalled"]), right=True),
    Column("days in the table", lambda one: f"{one['table_days']:.0f}", right=True),
    Column("days here (80 % range)", _days, right=True),
    Column("within a batch", lambda one: f"\N{PLUS-MINUS SIGN}{100 * one['within_spread']:.0f} %", right=True),
    Column("between batches", lambda one: f"\N{PLUS-MINUS SIGN}{100 * one['between_spread']:.0f} %", right=True),
)


def print_paces(farm: Farm, style: Format) -> None:
    """Each species on its substrate in its kind: days to colonised through for a batch to come, and how they differ."""
    bring_up_to_date(farm)
    paces = list_paces(farm)
    print_list(paces, COLUMNS, style, if_empty="no vessels yet")
    if style is Format.table:
        for pace in paces:
            if pace.batches:
                days = ", ".join(f"{batch.batch} {batch.median_days:.0f}" for batch in pace.batches)
                echo(f"  {species_name(pace.species)} in a {pace.kind}, days by batch: {days}")
        echo("  \N{PLUS-MINUS SIGN}: one standard deviation of the days to half colonised")
