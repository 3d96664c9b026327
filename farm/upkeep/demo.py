"""The demo farm: sample photos and tables copied into a folder of their own, with a farm around them."""

import shutil
from pathlib import Path

from farm.store import Farm, create_farm, open_farm
from farm.store.errors import FarmExistsError

_MARK = ".spawnrun-demo"
#: The demo farm is set in March 2026: its list is made for the day of its newest photos.
DEMO_AS_OF = "2026-03-16T18:00"
_PARTS = ("photos", "vessels.csv", "events.csv", "harvests.csv", "truth.csv", "truth_days.csv", "README.md")


def make_demo_farm(folder: Path, samples: Path, *, replace: bool = False) -> Farm:
    """Copy the samples into the folder and make a farm of it.

    replace: make an earlier demo farm again. Raises FarmExistsError for a folder that is not empty otherwise.
    """
    if folder.exists() and any(folder.iterdir()):
        if not (folder / _MARK).exists():
            raise FarmExistsError(f"{folder} is not empty: name another folder, as `spawnrun demo DIR`")
        if not replace:
            raise FarmExistsError(f"{folder} holds a demo farm already; --replace makes it again")
        shutil.rmtree(folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / _MARK).touch()
    for part in _PARTS:
        source = samples / part
        if source.is_dir():
            shutil.copytree(source, folder / part)
        else:
            shutil.copy(source, folder / part)
    with create_farm(folder) as farm:
        settings = farm.folder / "farm.toml"
        settings.write_text(settings.read_text("utf-8").replace('as_of = ""', f'as_of = "{DEMO_AS_OF}"'), "utf-8")
    return open_farm(folder)
