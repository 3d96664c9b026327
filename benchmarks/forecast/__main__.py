"""Print scores of the forecast: ``python -m benchmarks.forecast [RECORDS_DIR [--resplit]] [--plot FILE]``.

Without a folder it runs on simulated farms of several kinds; with one, on readings.csv, events.csv and truth.csv in it.
"""

import argparse
import time
from pathlib import Path

import numpy as np
from scipy.stats import chisquare

from benchmarks.forecast.again import compare_fits
from benchmarks.forecast.own_prior import rank_counts
from benchmarks.forecast.plot import write_reliability
from benchmarks.forecast.records import read_records
from benchmarks.forecast.resplit import resplit
from benchmarks.forecast.score import Shakes, Tally, score_farm, score_shakes
from benchmarks.forecast.simulate import all_farms
from growth.laws.common_form import laws_for


def main() -> None:
    """Score, and print tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0], prog="python -m benchmarks.forecast")
    parser.add_argument("records", nargs="?", type=Path, help="folder with readings.csv, events.csv, truth.csv")
    parser.add_argument("--seeds", nargs="*", type=int, default=[1, 2], help="of the simulated farms")
    parser.add_argument(
        "--own-prior", action="store_true", help="check the inference on farms drawn from its own prior"
    )
    parser.add_argument("--again", action="store_true", help="batches fitted again beside a whole fit, on larger farms")
    parser.add_argument("--resplit", action="store_true", help="cut the records' finished batches anew for each seed")
    parser.add_argument("--plot", type=Path, metavar="FILE", help="also draw said against seen: an .svg or .png file")
    chosen = parser.parse_args()
    if chosen.own_prior:
        _print_own_prior(chosen.seeds)
        return
    if chosen.again:
        for name, distances in compare_fits(chosen.seeds).items():
            distances.print(name)
        return
    if chosen.records and chosen.resplit:
        records = read_records(chosen.records)
        farms = [(f"{chosen.records}, cut {seed}", resplit(records, seed)) for seed in chosen.seeds]
    elif chosen.records:
        farms = [(str(chosen.records), read_records(chosen.records))]
    else:
        farms = [(f"{plan.name} ({seed})", vessels) for seed in chosen.seeds for plan, vessels in all_farms(seed)]
    total = Tally()
    shakes = Shakes()
    for name, vessels in farms:
        start = time.process_time()
        tally = Tally()
        score_farm(vessels, tally)
        score_farm(vessels, total) if len(farms) == 1 else _join(total, tally)
        print(f"\n{name}: {len(vessels)} vessels, {time.process_time() - start:.0f} s of processor time")
        if len(farms) > 1:
            _print_main(tally)
        if any(one.shaken_days for one, _ in vessels):
            score_shakes(vessels, shakes)
    print("\nAll farms" if len(farms) > 1 else "")
    _print_main(total)
    _print_coverage(total)
    _print_reliability(total)
    if chosen.plot:
        write_reliability(total.below, chosen.plot)
    print(f"\nstalled told {total.stalled_told} of {total.stalled}", end="")
    print(
        f", of those that had stopped some readings before the cut {total.stalled_plain_told} of {total.stalled_plain}",
        end="",
    )
    print(f"; growing vessels called stalled {total.false_stalls} of {len(total.kinds)}")
    later = [days for days in total.behind if days is not None]
    print(
        f"told to be far behind their batch: {len(total.behind)}, truly later {sum(days > 0 for days in later)}", end=""
    )
    middle = np.median(later) if later else 0.0
    print(f" (median {middle:.1f} d), never through {len(total.behind) - len(later)}")
    print(f"unrecorded shakes: asked about {shakes.shown_asked} of {shakes.shown} that show", end="")
    print(f" ({shakes.hidden} show in no reading); {shakes.calm_asked} of {shakes.calm} unshaken vessels asked", end="")
    print(f"; shaken ones called stalled for it {shakes.stalled}")


def _print_own_prior(seeds: list[int]) -> None:
    print("truths between neighbouring 10 % quantiles (even if right)")
    for law in laws_for("block"):
        counts = rank_counts(law, seeds)
        even = chisquare(counts)
        held = counts[1:9].sum() / counts.sum()
        row = " ".join(f"{n:4d}" for n in counts)
        print(f"  {law:9s} {row}   chi-square {even.statistic:.1f} on 9, p {even.pvalue:.3f}, 80 % held {held:.3f}")


def _join(total: Tally, tally: Tally) -> None:
    for name in ("kinds", "thirds", "held", "late", "below", "behind"):
        getattr(total, name).extend(getattr(tally, name))
    for name in ("errors", "scores"):
        for key, values in getattr(tally, name).items():
            getattr(total, name).setdefault(key, []).extend(values)
    for name in ("stalled", "stalled_told", "stalled_plain", "stalled_plain_told", "false_stalls"):
        setattr(total, name, getattr(total, name) + getattr(tally, name))


def _print_main(tally: Tally) -> None:
    best = min(float(np.median(errors)) for name, errors in tally.errors.items() if name != "this project")
    for name, errors in tally.errors.items():
        print(f"  {name:22s} median error {np.median(errors):6.2f} d   mean {np.mean(errors):6.2f} d")
    for name, scores in tally.scores.items():
        print(f"  {name:22s} mean interval score {np.mean(scores):6.2f}")
    ratio = np.median(tally.errors["this project"]) / best
    scored = np.mean(tally.scores["this project"]) / np.mean(tally.scores["quantiles of the past"])
    print(f"  median error / best baseline {ratio:.2f}; interval score / past {scored:.2f}", end="")
    print(f"; 80 % interval held {np.mean(tally.held):.3f}")


def _print_coverage(tally: Tally) -> None:
    print("\n80 % interval held, by kind and by third of progress")
    held, late = np.array(tally.held), np.array(tally.late)
    for labels in (tally.kinds, tally.thirds):
        for label in sorted(set(labels)):
            rows = np.array(labels) == label
            early, after = late[rows].mean(), (~held & ~late)[rows].mean()
            share = f"{held[rows].mean():.2f} of {rows.sum():4d}"
            print(f"  {label:8s} {share}   said too early {early:.2f}   said too late {after:.2f}")


def _print_reliability(tally: Tally) -> None:
    print("\nreliability: said, seen (share of vessels through by that quantile)")
    seen = np.mean(tally.below, axis=0)
    for said, share in zip(np.arange(10, 100, 10), 100 * seen, strict=True):
        print(f"  {said:3d} % {share:5.1f} % {'·' * round(share / 2)}{'|' if share >= said else ''}")


if __name__ == "__main__":
    main()
