"""`spawnrun serve`: what it prints, whom it pairs and unpairs, where it listens, and how it ends."""

import os
import re
import shutil
import signal
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import pytest

from cli.serve import PORT
from phone import USUAL_PORT, PhoneKeys
from phone.addresses import lan_addresses
from tests.cli.conftest import Spawnrun
from tests.processes import started

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is sent in another way there")


@contextmanager
def serving(*options: str) -> Iterator[tuple[subprocess.Popen[str], str, str]]:
    """The command as a process: it, the address that it prints, and what it prints until the code."""
    command = [sys.executable, "-c", "from cli import main; main()", *options, "--port", "0"]
    pipes: dict[str, Any] = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
    with started(command, cwd=Path(__file__).parents[2], **pipes) as process:
        assert process.stdout is not None
        said = ""
        while "for another phone" not in said and "no QR code" not in said:
            line = process.stdout.readline()
            assert line, said
            said += line
        address = re.search(r"serving (\S+)", said)
        assert address is not None
        yield process, address[1], said


def stop(process: subprocess.Popen[str], by: signal.Signals = signal.SIGINT) -> str:
    process.send_signal(by)
    rest = process.communicate(timeout=60)[0]
    assert process.returncode == 0, rest
    return str(rest)


def test_the_usual_port_is_written_twice_alike() -> None:
    assert PORT == USUAL_PORT


def test_it_serves_until_ctrl_c_and_pairs_by_the_printed_code(week: Path, spawnrun: Spawnrun) -> None:
    with serving("serve", "--farm", str(week), "--workers", "1") as (process, address, said):
        assert address.startswith("http://127.0.0.1:")
        assert "only on this machine" in said
        assert f"for a browser on this machine, once, within ten minutes: open {address} and write" in said
        assert "no QR code: a phone cannot open an address of this machine alone" in said
        assert "to pair a phone" not in said
        assert not set("█▀▄") & set(said), "a QR code in half blocks"
        assert "/pair#" not in said
        code = re.search(r"write ([0-9A-Z]{4}-[0-9A-Z]{4}-[0-9A-Z]{4})", said)
        assert code is not None
        with pytest.raises(HTTPError, match="401"):
            urlopen(Request(f"{address}/", headers={"Accept": "*/*"}), timeout=30)  # noqa: S310 - the loopback address
        form = Request(f"{address}/pair", f"code={code[1]}&name=Ann's phone".encode(), {"Origin": address})  # noqa: S310
        with pytest.raises(HTTPError, match="401"):  # paired, and led on without the cookie, which is not kept
            urlopen(form, timeout=30)  # noqa: S310
        assert spawnrun("serve", "--phones", "--farm", str(week)).out.count("Ann's phone") == 1
        another = spawnrun("serve", "--pair", "--farm", str(week))
        assert another.code == 0
        assert address in another.err
        assert stop(process) == "serving ended\n"  # and no warning of what its processes left behind
    assert [one.name for one in PhoneKeys(week).phones()] == ["Ann's phone"]


def test_phones_are_listed_and_revoked(week: Path, spawnrun: Spawnrun) -> None:
    keys = PhoneKeys(week)
    assert "no phone is paired" in spawnrun("serve", "--phones", "--farm", str(week)).out
    for name in ("Ann's phone", "Bob's phone"):
        keys.pair(keys.new_code(), name)
    listed = spawnrun("serve", "--phones", "--farm", str(week)).out
    assert "Ann's phone" in listed
    assert keys.phones()[1].id in listed
    assert spawnrun("serve", "--revoke", "ann's phone", "--farm", str(week)).out == "Ann's phone: unpaired\n"
    gone = spawnrun("serve", "--revoke", "Ann's phone", "--farm", str(week))
    assert gone.code == 2
    assert 'no phone "Ann\'s phone" is paired' in gone.err
    assert [one.name for one in keys.phones()] == ["Bob's phone"]


def test_a_code_for_a_farm_that_is_not_served_is_refused(week: Path, spawnrun: Spawnrun) -> None:
    outcome = spawnrun("serve", "--pair", "--farm", str(week))
    assert outcome.code == 2
    assert "this farm is not served yet" in outcome.err


def test_in_the_network_the_name_stands_first_and_plain_http_is_said(week: Path, spawnrun: Spawnrun) -> None:
    if not lan_addresses():
        assert "is in no network" in spawnrun("serve", "--lan", "--farm", str(week)).err
        return
    with serving("serve", "--lan", "--name", "farm.example", "--farm", str(week)) as (process, address, said):
        assert re.fullmatch(r"http://farm\.example:\d+", address)
        assert "plain HTTP: whoever is in the same network can read along" in said
        port = address.rpartition(":")[2]
        for host in (lan_addresses()[0], "127.0.0.1"):
            with urlopen(f"http://{host}:{port}/pair", timeout=30) as answer:
                assert answer.status == 200
        stop(process)


@pytest.fixture
def certificate(tmp_path: Path) -> tuple[Path, Path]:
    """A certificate of the machine's own name, made by OpenSSL."""
    if shutil.which("openssl") is None:
        pytest.skip("no openssl on this machine")
    made, key = tmp_path / "farm.pem", tmp_path / "farm.key"
    subject = ["-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"]
    make = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", *subject]
    subprocess.run([*make, "-keyout", str(key), "-out", str(made)], check=True, capture_output=True, timeout=60)
    return made, key


def test_with_a_certificate_it_is_encrypted(week: Path, certificate: tuple[Path, Path]) -> None:
    made, key = map(str, certificate)
    with serving("serve", "--certificate", made, "--key", key, "--farm", str(week)) as (process, address, said):
        assert address.startswith("https://127.0.0.1:")
        trusting = ssl.create_default_context(cafile=made)
        with urlopen(address.replace("127.0.0.1", "localhost") + "/pair", timeout=30, context=trusting) as answer:  # noqa: S310
            assert answer.status == 200
        with pytest.raises(OSError, match=r"."):  # plain HTTP to the same port
            urlopen(address.replace("https", "http") + "/pair", timeout=30)  # noqa: S310
        stop(process)
    assert "plain HTTP" not in said


def test_a_certificate_without_its_key_or_that_is_none_is_refused(
    week: Path, spawnrun: Spawnrun, certificate: tuple[Path, Path], tmp_path: Path
) -> None:
    made, key = map(str, certificate)
    alone = spawnrun("serve", "--certificate", made, "--farm", str(week))
    assert (alone.code, "go together" in alone.err) == (2, True)
    none = tmp_path / "none.pem"
    none.write_text("nothing")
    assert spawnrun("serve", "--certificate", str(none), "--key", key, "--farm", str(week)).code == 2
    assert spawnrun("serve", "--certificate", str(tmp_path / "away"), "--key", key, "--farm", str(week)).code == 2


def test_a_port_in_use_is_named(week: Path, spawnrun: Spawnrun) -> None:
    with serving("serve", "--farm", str(week)) as (process, address, _):
        port = address.rpartition(":")[2]
        outcome = spawnrun("serve", "--port", port, "--farm", str(week))
        assert outcome.code == 2
        assert f"port {port}: " in outcome.err
        assert "give another with --port" in outcome.err
        with pytest.raises(HTTPError):  # nobody is paired; an answer shows that it serves and heeds signals
            urlopen(f"{address}/", timeout=30)  # noqa: S310 - our own server
        assert stop(process, signal.SIGTERM) == "serving ended\n"  # as a system does that is shut down
