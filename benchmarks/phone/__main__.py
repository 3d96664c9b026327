"""Phones send large photos as fast as the server takes them, while the list is asked for: times and memory.

python -m benchmarks.phone                           200 photos of about 4 MB, by two phones
python -m benchmarks.phone --photos 24 --workers 1   a shorter run

The farm is the demo's; the photos are three of the demo's pictures, enlarged to 5 to 12 megapixels with noise, each as
if taken a minute after the one before. The server is the command, in a process of its own.
"""

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from http.client import HTTPConnection
from importlib.resources import files
from pathlib import Path

from benchmarks.phone.pictures import photos
from farm.measure import RunOptions, measure_paths
from farm.records import import_events, import_vessels, known_photos
from farm.store import Farm
from farm.upkeep import make_demo_farm
from phone import PhoneKeys
from phone.keys import form_token

_ASK_EVERY_SECONDS = 0.5
_AT_MOST_SECONDS = 3600.0
_COMMAND = [sys.executable, "-c", "from cli import main; main()", "serve"]


class Phone:
    """A paired phone without a browser."""

    def __init__(self, keys: PhoneKeys, port: int, name: str) -> None:
        self._port = port
        self._cookie = keys.pair(keys.new_code(), name)[1]
        self._token = form_token(self._cookie)

    def ask(self, method: str, path: str, body: bytes | None = None) -> tuple[int, float]:
        """Status and seconds of a request."""
        connection = HTTPConnection("127.0.0.1", self._port, timeout=600)
        headers = {"Cookie": f"spawnrun_{self._port}={self._cookie}", "Accept": "text/html"}
        if method == "PUT":
            headers |= {"Origin": f"http://127.0.0.1:{self._port}", "X-Form-Token": self._token}
        begun = time.perf_counter()
        try:
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            answer.read()
            return answer.status, time.perf_counter() - begun
        finally:
            connection.close()

    def send(self, content: bytes) -> float:
        """Seconds until a photo was taken in; one that is put off is sent again, as the page does."""
        begun = time.perf_counter()
        path = f"/photos/{sha256(content).hexdigest()}"
        while (status := self.ask("PUT", path, content)[0]) not in (200, 201):
            if status != 503:
                raise RuntimeError(f"a photo was refused with {status}")
            time.sleep(2.0)
        return time.perf_counter() - begun


@contextmanager
def serving(farm: Path, workers: int) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """The server as a process, and its port."""
    command = [*_COMMAND, "--farm", str(farm), "--port", "0", "--workers", str(workers)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        try:
            if process.stdout is None:
                raise RuntimeError("no output")
            said = process.stdout.readline().decode()
            yield process, int(said.split()[1].rpartition(":")[2])
        finally:
            process.terminate()


class Watch:
    """Asks for the list again and again, and looks up the memory of the server and its processes."""

    def __init__(self, phone: Phone, process: int) -> None:
        self.list_seconds: list[float] = []
        self.server_mib = self.all_mib = 0.0
        self._phone, self._process = phone, process
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def end(self) -> None:
        """Stop asking."""
        self._ended.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._ended.wait(_ASK_EVERY_SECONDS):
            status, seconds = self._phone.ask("GET", "/")
            if status == 200:
                self.list_seconds.append(seconds)
            sizes = {one: _resident_mib(one) for one in _family(self._process)}
            self.server_mib = max(self.server_mib, sizes.get(self._process, 0.0))
            self.all_mib = max(self.all_mib, sum(sizes.values()))


def _family(process: int) -> list[int]:
    children: list[int] = []
    for task in Path(f"/proc/{process}/task").glob("*"):
        try:
            children += [int(one) for one in (task / "children").read_text().split()]
        except OSError:
            continue
    return [process, *(one for child in children for one in _family(child))]


def _resident_mib(process: int) -> float:
    try:
        return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20
    except OSError:
        return 0.0


def made_farm(home: Path) -> Farm:
    """The demo farm, measured."""
    farm = make_demo_farm(home / "farm", Path(str(files("sample_images"))))
    import_vessels(farm, farm.folder / "vessels.csv")
    import_events(farm, farm.folder / "events.csv")
    measure_paths(farm, [farm.folder / "photos"], RunOptions(workers=2))
    return farm


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.phone", description=__doc__.split("\n\n", maxsplit=1)[0]
    )
    parser.add_argument("--photos", type=int, default=200)
    parser.add_argument("--phones", type=int, default=2)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        farm = made_farm(Path(folder))
        contents = list(photos(given.photos))
        size = statistics.fmean(map(len, contents)) / 1e6
        print(f"{len(contents)} photos of {size:.1f} MB, {given.phones} phones, {given.workers} workers")
        with farm, serving(farm.folder, given.workers) as (process, port):
            keys = PhoneKeys(farm.folder)
            phones = [Phone(keys, port, f"phone {n}") for n in range(given.phones)]
            watcher = Phone(keys, port, "watcher")
            first = watcher.ask("GET", "/")[1]
            watch = Watch(watcher, process.pid)
            report(farm, contents, phones, watch)
        print(f"first list after the start: {first:.1f} s")


def report(farm: Farm, contents: list[bytes], phones: list[Phone], watch: Watch) -> None:
    """Send all, wait until all are measured, and print."""
    took: list[float] = []
    begun = time.perf_counter()

    def send(phone: Phone, mine: list[bytes]) -> None:
        took.extend(phone.send(content) for content in mine)

    threads = [
        threading.Thread(target=send, args=(phone, contents[n :: len(phones)])) for n, phone in enumerate(phones)
    ]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    sent = time.perf_counter() - begun
    hashes = {sha256(content).hexdigest() for content in contents}
    while (n_done := len(known_photos(farm, hashes))) < len(hashes):
        if time.perf_counter() - begun > _AT_MOST_SECONDS:
            raise RuntimeError(f"only {n_done} of {len(hashes)} were measured")
        time.sleep(0.5)
    measured = time.perf_counter() - begun
    watch.end()
    seconds = sorted(watch.list_seconds)
    print(f"sent: all in {sent:.0f} s, one in {statistics.median(took):.2f} s (median), {max(took):.2f} s (longest)")
    print(f"measured: all after {measured:.0f} s, {measured / len(contents):.2f} s a photo")
    late = seconds[int(0.95 * len(seconds))]
    print(
        f"the list: {1000 * statistics.median(seconds):.0f} ms (median of {len(seconds)}), {1000 * late:.0f} ms (95 %)"
    )
    print(f"memory: server {watch.server_mib:.0f} MiB, with all its processes {watch.all_mib:.0f} MiB")


if __name__ == "__main__":
    main()
