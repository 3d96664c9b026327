"""Builds the wheel of the last commit twice, compares the bytes, and writes its bill of materials beside it.

    python .ci/release.py OUT

Each build starts from a fresh copy of the commit in a folder of its own, with the commit's time as SOURCE_DATE_EPOCH
and a fixed umask. Exit code 1 where the two wheels differ. OUT gets the wheel, the bill and SHA256SUMS.
"""

import hashlib
import os
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]


def main(out: Path) -> int:
    """Build and compare; 1 where the wheels differ."""
    os.umask(0o022)
    os.environ["SOURCE_DATE_EPOCH"] = _git("log", "-1", "--format=%ct").decode().strip()
    with tempfile.TemporaryDirectory() as name:
        first, second = (_wheel(Path(name) / folder) for folder in ("first", "a second one"))
        content = first.read_bytes()
        if content != second.read_bytes():
            print("two builds of the same commit differ", file=sys.stderr)
            return 1
    out.mkdir(parents=True, exist_ok=True)
    wheel = out / first.name
    wheel.write_bytes(content)
    bill = out / f"{first.name.removesuffix('.whl')}.cdx.json"
    subprocess.run([sys.executable, ROOT / ".ci" / "sbom.py", wheel, bill], check=True, timeout=120)
    sums = "".join(f"{hashlib.sha256(one.read_bytes()).hexdigest()}  {one.name}\n" for one in (wheel, bill))
    (out / "SHA256SUMS").write_text(sums, encoding="utf-8")
    print(f"{sums}two builds gave the same wheel")
    return 0


def _wheel(home: Path) -> Path:
    """The wheel of the last commit, built in a folder of its own."""
    home.mkdir()
    archive = home / "commit.tar"
    archive.write_bytes(_git("archive", "HEAD"))
    with tarfile.open(archive) as held:
        held.extractall(home / "source", filter="data")
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", home, home / "source"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, timeout=300)
    (wheel,) = home.glob("*.whl")
    return wheel


def _git(*words: str) -> bytes:
    return subprocess.run(["git", *words], check=True, stdout=subprocess.PIPE, cwd=ROOT, timeout=60).stdout


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
