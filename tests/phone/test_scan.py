"""A short active scan of the review page, like a scan of a web site: paths, methods, bodies, headers."""

import re
import socket
import time
from collections.abc import Iterator
from urllib.parse import quote

import pytest

from farm.records import list_verdicts
from farm.store import Farm
from report import ReviewServer
from tests.report.serving import served

SECRETS = (b"through_percent", b"SQLite format 3", b"schema_version", b"root:x:")
#: OWASP Web Security Testing Guide 4.2, 4.5.1: ways out of a folder, plain and encoded.
DOTS = (
    "../",
    "..\\",
    "%2e%2e/",
    "%2e%2e%2f",
    "..%2f",
    "%252e%252e%252f",
    "..%c0%af",
    "....//",
    "/%2e/%2e%2e/",
    "..;/",
    ".%00./",
)
TARGETS = ("farm.toml", "records.sqlite", "etc/passwd", "faces/.spawnrun-output")


@pytest.fixture
def server(shelf: Farm) -> Iterator[ReviewServer]:
    with served(shelf) as started:
        yield started


def raw(server: ReviewServer, content: bytes, *, wait: float = 5.0) -> bytes:
    """The response to exactly these bytes, including errors that a client library would correct."""
    with socket.create_connection(("127.0.0.1", server.server_port), timeout=wait) as line:
        line.sendall(content)
        line.shutdown(socket.SHUT_WR)
        answer = b""
        while piece := line.recv(65536):
            answer += piece
    return answer


def get(server: ReviewServer, path: str) -> bytes:
    host = f"127.0.0.1:{server.server_address[1]}"
    request = f"GET {server.root}{path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"
    return raw(server, request.encode("latin-1", "replace"))


def keyed(server: ReviewServer, content: bytes) -> bytes:
    """The request with the key of the page's address."""
    host = f"127.0.0.1:{server.server_address[1]}".encode()
    return content.replace(b"{host}", host).replace(b" /", b" " + server.root.encode() + b"/", 1)


def test_no_path_leads_out_of_the_folder_of_faces(server: ReviewServer) -> None:
    for dots in DOTS:
        for target in TARGETS:
            for start in ("/", "/spot/", "/face/", f"/spot/{'0' * 64}-0/", "/review.css/", "//", "/./"):
                answer = get(server, f"{start}{dots * 4}{target}")
                assert answer.startswith((b"HTTP/1.0 404", b"HTTP/1.0 400")), (start, dots, target, answer[:200])
                assert not [secret for secret in SECRETS if secret in answer]


@pytest.mark.parametrize("method", ["HEAD", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "PROPFIND", "get"])
def test_other_methods_are_refused_with_the_headers_of_every_answer(server: ReviewServer, method: str) -> None:
    host = f"127.0.0.1:{server.server_address[1]}"
    answer = raw(server, f"{method} / HTTP/1.1\r\nHost: {host}\r\nX-Echo: marked\r\n\r\n".encode())
    assert answer.startswith(b"HTTP/1.0 501")
    for header in (
        b"Content-Security-Policy: default-src 'none'",
        b"X-Content-Type-Options: nosniff",
        b"X-Frame-Options: DENY",
    ):
        assert header in answer
    assert b"marked" not in answer
    assert b"text/html" not in answer


@pytest.mark.parametrize(
    "content",
    [
        b"\r\n\r\n",
        b"GET\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET / HTTP/1.1\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 200,
        b"GET /" + b"a" * 70_000 + b" HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 300 + b"\r\n",
        b"POST /verdict HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: "
        + b"9" * 5000 + b"\r\n\r\n",
        b"POST /verdict HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/x-www-form-urlencoded\r\n"
        b"Transfer-Encoding: chunked\r\n\r\n5\r\nhello\r\n0\r\n\r\n",
        b"POST /verdict HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/x-www-form-urlencoded\r\n"
        b"Content-Length: -1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: {host}\r\nHost: evil.example\r\n\r\n",
    ],
)  # fmt: skip
def test_invalid_requests_print_nothing(
    server: ReviewServer, content: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    answer = raw(server, keyed(server, content))
    assert not answer.startswith(b"HTTP/1.0 2") or b"evil" in content
    assert not [secret for secret in SECRETS if secret in answer]
    assert capfd.readouterr().err == ""
    assert get(server, "/").startswith(b"HTTP/1.0 200")


def test_a_large_body_is_refused_without_being_read(server: ReviewServer, shelf: Farm) -> None:
    host = f"127.0.0.1:{server.server_address[1]}"
    head = f"POST {server.root}/verdict HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/x-www-form-urlencoded\r\n"
    answer = raw(server, f"{head}Content-Length: 2000000000\r\n\r\n".encode() + b"a=1&" * 100)
    assert answer.startswith(b"HTTP/1.0 400")
    assert list_verdicts(shelf) == []


def test_slow_and_silent_clients_do_not_block_others(server: ReviewServer, capfd: pytest.CaptureFixture[str]) -> None:
    """Thirty clients send half a request and stop; the page still loads at once, and they are disconnected."""
    assert 0 < (server.RequestHandlerClass.timeout or 0) <= 60  # type: ignore[attr-defined]
    lines = [socket.create_connection(("127.0.0.1", server.server_port), timeout=5) for _ in range(30)]
    try:
        for line in lines:
            line.sendall(b"POST /verdict HTTP/1.1\r\nHost: x\r\nContent-Le")
        assert get(server, "/").startswith(b"HTTP/1.0 200")
    finally:
        for line in lines:
            line.close()
    time.sleep(0.2)
    assert capfd.readouterr().err == ""


def test_a_disconnecting_browser_gives_no_traceback(server: ReviewServer, capfd: pytest.CaptureFixture[str]) -> None:
    for _ in range(8):
        with socket.create_connection(("127.0.0.1", server.server_port), timeout=5) as line:
            line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\x00\x00\x00\x00\x00\x00\x00")  # reset at close
            line.sendall(keyed(server, b"GET / HTTP/1.1\r\nHost: {host}\r\n\r\n"))
    assert get(server, "/").startswith(b"HTTP/1.0 200")
    assert capfd.readouterr().err == ""


def test_responses_contain_nothing_that_was_sent(server: ReviewServer) -> None:
    """A line feed in the address does not split the headers."""
    for probe in ("<script>alert(1)</script>", "%0d%0aSet-Cookie:%20a=b", "{{7*191}}", "';--"):
        for path in (f"/{quote(probe, safe='%')}", f"/?q={quote(probe, safe='%')}", f"/#{quote(probe, safe='%')}"):
            answer = get(server, path)
            assert b"<script>alert(1)" not in answer
            assert b"Set-Cookie" not in answer
            assert b"1337" not in re.sub(rb'value="[^"]*"', b"", answer.split(b"\r\n\r\n", 1)[0])
