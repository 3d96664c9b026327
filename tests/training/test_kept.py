"""Training examples are stored under the name of their maker and read back unchanged."""

from functools import partial
from pathlib import Path

from training.kept import keep, read_kept, run_jobs


def test_examples_are_read_back_in_order_and_by_maker(tmp_path: Path) -> None:
    jobs = [partial(keep, [name, name.upper()], tmp_path, name) for name in ("second-2", "own-1", "nothing-0")]
    assert run_jobs(jobs, workers=1) == 6
    assert read_kept(tmp_path, ("own", "nothing")) == ["nothing-0", "NOTHING-0", "own-1", "OWN-1"]
    assert len(read_kept(tmp_path)) == 6
