"""`spawnrun review --open` as a separate process: it prints the address, serves the page, and ends at Ctrl-C."""

import os
import signal
import subprocess
import sys
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import HTTPCookieProcessor, Request, build_opener, urlopen

import pytest

from tests.processes import started


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is sent in another way there")
def test_the_page_is_served_until_ctrl_c(week: Path) -> None:
    command = [sys.executable, "-c", "from cli import main; main()"]
    arguments = ["review", "--open", "--no-browser", "--farm", str(week)]
    root = Path(__file__).parents[2]
    with started([*command, *arguments], stdout=subprocess.PIPE, cwd=root, text=True) as process:
        assert process.stdout is not None
        said = process.stdout.readline()
        assert said.startswith("review: http://127.0.0.1:")
        home, _, code = said.split()[1].removesuffix("/review").partition("/pair#")
        with pytest.raises(HTTPError, match="401"):
            urlopen(f"{home}/review", timeout=30)  # noqa: S310 - the loopback address just printed
        form = Request(f"{home}/pair", f"code={code}&next=/review".encode(), {"Origin": home})  # noqa: S310
        with build_opener(HTTPCookieProcessor()).open(form, timeout=60) as answer:
            assert "B002</b>: green patch" in answer.read().decode()
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=30) == 0
