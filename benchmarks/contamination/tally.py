"""Counts of hits, misses and false flags, as text and as the table stored in calibration/."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby, pairwise

from benchmarks.contamination.looks import Look
from farm.study import rate_interval

THRESHOLDS = (0.3, 0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95)
BAND_EDGES = (0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 1.001)
SIZES_CM2 = (0.0, 0.5, 1.0, 2.0, 5.0, 20.0, float("inf"))


def recall_line(name: str, looks: Sequence[Look], hit: Callable[[Look], bool]) -> str:
    """Share of hits among the looks that were read, with its 95 % interval (Wilson)."""
    read = [one for one in looks if one.is_read]
    if not read:
        return f"  {name:26} none"
    hits = sum(map(hit, read))
    low, high = rate_interval(hits, len(read))
    unread = f"; {len(looks) - len(read)} without a reading" if len(looks) > len(read) else ""
    return f"  {name:26} {hits:4} of {len(read):4}  {hits / len(read):6.1%}  (95 %: {low:.0%} to {high:.0%}){unread}"


def false_line(name: str, looks: Sequence[Look], misfires: Callable[[Look], bool]) -> str:
    """False flags among clean readings, and their number per 200."""
    clean = [one for one in looks if one.is_clean and one.is_read]
    if not clean:
        return f"  {name:26} none"
    wrong = sum(map(misfires, clean))
    _, high = rate_interval(wrong, len(clean))
    each = 200 * wrong / len(clean)
    return (
        f"  {name:26} {wrong:4} of {len(clean):4} clean readings: {each:5.2f} in 200  (95 %: at most {200 * high:.1f})"
    )


def seen_table(groups: Mapping[str, Sequence[Look]], threshold: float) -> Iterator[str]:
    """Lines of a table: patches due that were flagged in the very photo, alone and in series, and vessels marked.

    Marked counts a suspect that is carried over from an earlier photo; the two others do not.
    """
    yield f"  {'':28} {'due':>5}  {'alone':24} {'in series':24} {'vessel marked':24}"
    for name, looks in groups.items():
        due = [one for one in looks if one.is_due and one.is_read]
        if due:
            hits = [
                sum(one.shows("alone", truly=True) for one in due),
                sum(one.shows("series", truly=True) for one in due),
                sum(one.flagged(threshold, truly=True) for one in due),
            ]
            yield f"  {name:28} {len(due):5}  " + " ".join(f"{_share(n, len(due)):24}" for n in hits)


def false_table(looks: Sequence[Look], threshold: float) -> str:
    """A line of false flags among clean readings, as ``seen_table`` has hits."""
    clean = [one for one in looks if one.is_clean and one.is_read]
    wrong = [
        sum(one.shows("alone", truly=False) for one in clean),
        sum(one.shows("series", truly=False) for one in clean),
        sum(one.flagged(threshold, truly=False) for one in clean),
    ]
    return f"  {'false, of clean readings':28} {len(clean):5}  " + " ".join(
        f"{_share(n, len(clean)):24}" for n in wrong
    )


def _share(hits: int, of: int) -> str:
    """Hits and their share with its 95 % interval (Wilson)."""
    if not of:
        return "none"
    low, high = rate_interval(hits, of)
    return f"{hits:4} {hits / of:6.1%} ({low:.0%}-{high:.0%})"


def groups_of(looks: Sequence[Look]) -> dict[str, Sequence[Look]]:
    """Contaminated looks by look of the mould, size, ground and kind of vessel, those that are due first of all."""
    foul = [one for one in looks if not one.is_clean]
    found: dict[str, Sequence[Look]] = {"all": foul}
    found |= {f"look: {name}": group for name, group in by_colour(foul)}
    found |= {f"size: {name}": group for name, group in by_size(foul)}
    for ground in sorted({one.ground for one in foul}):
        found[f"on {ground or 'unknown ground'}"] = [one for one in foul if one.ground == ground]
    for kind in sorted({one.kind for one in foul}):
        found[f"kind: {kind}"] = [one for one in foul if one.kind == kind]
    return found


def delays(looks: Sequence[Look], threshold: float) -> Iterator[str]:
    """For each contaminated vessel the days from its first contaminated photo to the first photo with a true flag."""
    vessels = sorted((one for one in looks if not one.is_clean), key=lambda one: (one.scene, one.vessel, one.day))
    for (scene, vessel), group in groupby(vessels, key=lambda one: (one.scene, one.vessel)):
        mine = list(group)
        flagged = next((one for one in mine if one.flagged(threshold, truly=True)), None)
        due = next((one for one in mine if one.is_due), None)
        told = "never" if flagged is None else f"{flagged.day - mine[0].day:.1f} days"
        late = (
            ""
            if flagged is None or due is None or flagged.day <= due.day
            else f", {flagged.day - due.day:.1f} days late"
        )
        size = "" if flagged is None else f" at {flagged.true_coloured_cm2:.1f} cm2 of colour"
        yield f"  {scene}/{vessel}, {mine[-1].colour}: flagged {told} after its first pixel{size}{late}"


def by_size(looks: Sequence[Look]) -> Iterator[tuple[str, list[Look]]]:
    """Contaminated looks by the size of the coloured patch."""
    for low, high in pairwise(SIZES_CM2):
        here = [one for one in looks if not one.is_clean and low <= one.true_coloured_cm2 < high]
        if here:
            yield (f"{low:g} to {high:g} cm2" if high < float("inf") else f"{low:g} cm2 and more"), here


def by_colour(looks: Sequence[Look]) -> Iterator[tuple[str, list[Look]]]:
    """Looks that are due, by the colour of the contamination."""
    for colour in sorted({one.colour for one in looks if one.is_due}):
        yield colour or "no colour", [one for one in looks if one.is_due and one.colour == colour]


def threshold_rows(looks: Sequence[Look]) -> list[tuple[float, int, int, int, int]]:
    """Threshold, missed, due, false flags, clean readings."""
    due = [one for one in looks if one.is_due and one.is_read]
    clean = [one for one in looks if one.is_clean and one.is_read]
    return [
        (
            at,
            sum(not one.flagged(at, truly=True) for one in due),
            len(due),
            sum(one.flagged(at, truly=False) for one in clean),
            len(clean),
        )
        for at in THRESHOLDS
    ]


def score_bands(looks: Sequence[Look]) -> list[tuple[float, float, int, int]]:
    """Score from, to, flags that were contamination, flags."""
    flags = [flag for one in looks for flag in one.flags]
    bands = []
    for low, high in pairwise(BAND_EDGES):
        here = [one for one in flags if low <= one.score < high]
        bands.append((low, high, sum(one.is_true for one in here), len(here)))
    return bands


def table_text(sets: Mapping[str, Sequence[Look]]) -> str:
    """The content of calibration/suspect_scores.toml: thresholds for each set, bands over all of them."""
    lines = ["# Written by `python -m benchmarks.contamination SCENES... --write-table`; do not edit by hand."]
    every = [one for looks in sets.values() for one in looks]
    lines += ["# score from, to, contaminated, flags", "bands = ["]
    lines += [f"    {list(band)}," for band in score_bands(every)]
    lines += ["]"]
    for source, looks in sets.items():
        lines += ["", "[[measured]]", f'source = "{source}"']
        lines += ["# threshold, missed, due, false flags, clean readings", "thresholds = ["]
        lines += [f"    {list(row)}," for row in threshold_rows(looks)]
        lines += ["]"]
    return "\n".join([*lines, ""])
