"""A station of a farm, as a separate process: measures painted photos one by one, or notes events."""

import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from farm.measure import measure_paths
from farm.records import add_event
from farm.store import open_farm
from tests.farm.painted import painted_vision


def main(home: str, start: str, *work: str) -> None:
    """Wait for the start file; each word of work is a photo, or VESSEL=EVENT."""
    with open_farm(Path(home)) as farm:
        print("ready", flush=True)
        while not Path(start).exists():
            time.sleep(0.01)
        for n, one in enumerate(work):
            vessel, is_event, event = one.partition("=")
            if is_event:
                add_event(farm, vessel, event, datetime(2026, 3, 4, tzinfo=UTC) + timedelta(minutes=n))
            else:
                measure_paths(farm, [Path(one)], vision=painted_vision())


if __name__ == "__main__":
    main(*sys.argv[1:])
