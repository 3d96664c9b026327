"""Makes the two pictures of README.md from the demo farm: what was read on a shelf, and the report of that day.

    python docs/pictures.py

Needs Chromium, as the tests of the pages do. To be run again when what is read or the report's look has changed.
"""

import shutil
import sys
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image
from playwright.sync_api import sync_playwright

from cli import run

HERE = Path(__file__).parent
SHELF = Path("photos") / "bags" / "20260312_1300"
WIDTH_PX, REPORT_PX = 1200, (1000, 1180)


def spawnrun(*words: object) -> None:
    """Run a command line; its lists are not printed."""
    with redirect_stdout(StringIO()):
        if code := run([str(word) for word in words]):
            sys.exit(code)


def beside(left: Path, right: Path, target: Path) -> None:
    """Two pictures of one size side by side."""
    half = WIDTH_PX // 2
    both = [Image.open(one).convert("RGB") for one in (left, right)]
    height = round(both[0].height * half / both[0].width)
    joined = Image.new("RGB", (2 * half, height))
    for place, one in enumerate(both):
        joined.paste(one.resize((half, height), Image.Resampling.LANCZOS), (place * half, 0))
    joined.save(target, quality=85)


def shot(page: Path, target: Path) -> None:
    """What a browser shows of a page at first."""
    with sync_playwright() as playwright:
        chromium = shutil.which("chromium") or shutil.which("google-chrome")
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        opened = browser.new_page(viewport={"width": REPORT_PX[0], "height": REPORT_PX[1]})
        opened.goto(page.as_uri())
        opened.screenshot(path=target)
        browser.close()


def main() -> None:
    """Run the demo in a folder of its own and take the pictures."""
    with TemporaryDirectory() as folder:
        farm = Path(folder) / "demo-farm"
        spawnrun("demo", farm)
        spawnrun("measure", farm / "photos" / "bags", "--farm", farm, "--classes", Path(folder) / "look")
        (overlay,) = (Path(folder) / "look").rglob(f"{SHELF.name}*overlay*")
        beside((farm / SHELF).with_suffix(".jpg"), overlay, HERE / "read.jpg")
        shot(farm / "report.html", HERE / "report.png")


if __name__ == "__main__":
    main()
