"""Measure how well contamination is flagged, day by day, compared with a simple rule for green hues.

    python -m benchmarks.contamination SCENES... [--drawn 300] [--page FILE] [--write-table]

SCENES are scene folders with truth (photos, masks, truth.json, vessels.csv), or folders of them. Each scene becomes a
farm whose photos are measured one by one in the order they were taken, so that nothing is known of later days.
``--drawn`` adds faces drawn as for the segmenter's training, each a single photo. ``--page`` writes hits, misses and
false alarms to look at. ``--write-table`` puts the counts into calibration/suspect_scores.toml.
"""

import argparse
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from benchmarks.accuracy.scenes import find_scenes
from benchmarks.contamination.drawn import drawn_looks
from benchmarks.contamination.looks import Look
from benchmarks.contamination.page import write_page
from benchmarks.contamination.tally import (
    by_colour,
    by_size,
    delays,
    false_line,
    false_table,
    groups_of,
    recall_line,
    score_bands,
    seen_table,
    table_text,
    threshold_rows,
)
from benchmarks.contamination.watch import watch_scene
from farm.store import Settings

_DEFAULT_SCORE = Settings.model_fields["suspect_score"].default

TABLE = Path(__file__).parents[2] / "calibration" / "suspect_scores.toml"


def main() -> None:
    """Watch, and print."""
    chosen = _options()
    scenes = [scene for folder in chosen.scenes for scene in find_scenes(folder)]
    looks: list[Look] = []
    with TemporaryDirectory() as home:
        for scene in scenes:
            print(f"watching {scene.name}", flush=True)
            looks += watch_scene(scene, Path(home))
    drawn = drawn_looks(chosen.drawn, chosen.seed)
    if looks:
        _print_scenes(looks, chosen.threshold)
        print("\nPatches due, flagged in the very photo (by itself, in its series), and vessels marked that day")
        print("\n".join(seen_table(groups_of(looks), chosen.threshold)))
        print(false_table(looks, chosen.threshold))
        _print_thresholds("Scenes", looks)
    if drawn:
        _print_group("Drawn faces, one photo each", drawn, chosen.threshold)
        _print_thresholds("Drawn faces", drawn)
    _print_bands([*looks, *drawn])
    if chosen.page:
        print(f"page: {write_page([*looks, *drawn], chosen.threshold, chosen.page)}")
    if chosen.write_table:
        sets = {
            f"{len(scenes)} rendered scenes watched day by day, {len(looks)} looks{_known(chosen.unseen)}": looks,
            f"{len(drawn)} drawn faces in hard light, one photo each": drawn,
        }
        TABLE.write_text(table_text(sets), "utf-8")
        print(f"written: {TABLE}")


def _known(unseen: bool) -> str:
    learned = "was not shown these, but others made alike" if unseen else "has learned from these"
    return f"; the segmenter {learned}, so a new farm may fare worse"


def _options() -> argparse.Namespace:
    about = (__doc__ or "").splitlines()[0]
    parser = argparse.ArgumentParser(description=about, prog="python -m benchmarks.contamination")
    parser.add_argument("scenes", nargs="*", type=Path, help="scene folders, or folders of them")
    parser.add_argument("--drawn", type=int, default=0, metavar="N", help="also this many drawn faces")
    parser.add_argument("--seed", type=int, default=1, help="of the drawn faces")
    parser.add_argument(
        "--threshold",
        type=float,
        default=Settings.model_fields["suspect_score"].default,
        help="flagged from this score on",
    )
    parser.add_argument("--page", type=Path, metavar="FILE", help="write a page of hits, misses and false alarms")
    parser.add_argument("--unseen", action="store_true", help="note in the table that no scene was used in training")
    parser.add_argument("--write-table", action="store_true", help=f"write {TABLE.name}")
    return parser.parse_args()


def _print_scenes(looks: Sequence[Look], threshold: float) -> None:
    for scene in dict.fromkeys(one.scene for one in looks):
        mine = [one for one in looks if one.scene == scene]
        _print_group(f"Scene {scene}", mine, threshold)
        print("\n".join(delays(mine, threshold)))
    _print_group("All scenes", looks, threshold)
    due = [one for one in looks if one.is_due]
    print("\nA simple rule (green hues, at least as large) on the same faces")
    print(recall_line("rule, all colours", due, lambda one: one.rule_hits))
    print(recall_line("rule, green only", [one for one in due if one.colour == "green"], lambda one: one.rule_hits))
    print(false_line("rule, false flags", looks, lambda one: one.rule_misfires))


def _print_group(name: str, looks: Sequence[Look], threshold: float) -> None:
    def hit(one: Look) -> bool:
        return one.flagged(threshold, truly=True)

    read = sum(one.is_read for one in looks)
    print(f"\n{name}: {len(looks)} looks, {read} read; flagged from a score of {threshold}")
    print(recall_line("to be flagged", [one for one in looks if one.is_due], hit))
    print(recall_line("with what is still white", [one for one in looks if one.is_large], hit))
    for size, group in by_size(looks):
        print(recall_line(f"  colour of {size}", group, hit))
    for colour, group in by_colour(looks):
        print(recall_line(f"  {colour}", group, hit))
    print(false_line("false flags", looks, lambda one: one.flagged(threshold, truly=False)))


def _print_thresholds(name: str, looks: Sequence[Look]) -> None:
    print(f"\n{name}: threshold  missed            false flags on clean readings")
    for at, missed, due, false, clean in threshold_rows(looks):
        each = 200 * false / max(clean, 1)
        print(f"{at:20.2f}  {missed:4} of {due:4}      {false:4} of {clean:5}  ({each:.2f} in 200)")


def _print_bands(looks: Sequence[Look]) -> None:
    print("\nscore             contamination, of all flags")
    for low, high, true, flags in score_bands(looks):
        print(f"{low:4.2f} to {min(high, 1.0):4.2f}   {true:4} of {flags:4}")


if __name__ == "__main__":
    main()
