"""Attacks on the page, like a scan of a web site: who is not paired, other hosts and sites, paths, bodies, floods."""

import hashlib
import re
import socket
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from typing import Any
from urllib.parse import quote, urlencode

import pytest

from farm.records import list_verdicts
from farm.store import Farm
from phone import PhoneServer
from phone.connections import HEAD_SECONDS, MOST_FROM_ONE
from phone.limits import Rate
from phone.uploads import FOLDER, LARGEST_PHOTO
from tests.phone.serving import FORM, Client, paired, served

SECRETS = (b"through_percent", b"SQLite format 3", b"schema_version", b"root:x:", b"key_hash")
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
TARGETS = ("farm.toml", "records.sqlite", "phones.json", "etc/passwd", "faces/.spawnrun-output")
PAGES = ("/", "/take", "/review", "/vessels", "/vessel/B002", "/more", "/answers?of=", "/picture/small/x.jpg")
CHANGES = ("/tick", "/verdict", "/undo", "/hide", "/language", "/revoke", "/invite", "/scan")


@pytest.fixture
def server(shelf: Farm) -> Iterator[PhoneServer]:
    with served(shelf) as started:
        yield started


@pytest.fixture
def phone(server: PhoneServer) -> Client:
    return paired(server)


def raw(server: PhoneServer, content: bytes, *, first: float = 3.0, wait: float = 30.0) -> bytes:
    """The response to exactly these bytes, including errors that a client library would correct.

    first: seconds until no more is sent, where the server waits for more.
    """
    answer = b""
    with socket.create_connection(("127.0.0.1", server.site.port), timeout=first) as line:
        try:
            line.sendall(content)
            answer += line.recv(65536)
        except TimeoutError:
            line.shutdown(socket.SHUT_WR)  # it waits for more, which will not come
        except (ConnectionResetError, BrokenPipeError):
            return answer
        line.settimeout(wait)
        try:
            while piece := line.recv(65536):
                answer += piece
        except ConnectionResetError:
            pass
    return answer


def get(phone: Client, path: str) -> bytes:
    site = phone.server.site
    cookie = f"Cookie: {site.cookie}={phone.cookie}\r\n"
    request = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{site.port}\r\n{cookie}Connection: close\r\n\r\n"
    return raw(phone.server, request.encode("latin-1", "replace"), first=60.0)


def status_of(answer: bytes) -> int:
    return int(answer.split(b" ", 2)[1])


def test_nothing_is_served_to_who_is_not_paired(server: PhoneServer) -> None:
    stranger, wrong = Client(server), Client(server, "abc.def")
    for one in (stranger, wrong):
        for path in PAGES:
            answer = one.get(path, Accept="*/*")
            assert (answer.status, answer.text) == (401, "this phone is not paired\n"), path
            assert one.get(path).headers["location"] == "/pair"
        for path in CHANGES:
            assert one.post(path, {"token": ""}).status == 401, path
        assert one.put("0" * 64, b"x").status == 401
    for path in ("/pair", "/static/app.css", "/static/app.js", "/manifest.webmanifest", "/worker.js"):
        answer = stranger.get(path)
        assert answer.status == 200
        assert b"B002" not in answer.content
        assert b"shelf" not in answer.content.split(b"</head>")[0] or path.startswith("/static")


def test_a_revoked_phone_is_a_stranger_from_then_on(server: PhoneServer, shelf: Farm) -> None:
    """What was stolen from a phone is worth nothing once the phone is revoked, by the command or on a page."""
    phone, other = paired(server, "Ann's phone"), paired(server, "Bob's phone")
    fields = {"vessel": "B002", "subject": "green", "verdict": "confirmed"}
    assert phone.get("/").status == 200
    assert [one.name for one in server.keys.revoke("ann's PHONE")] == ["Ann's phone"]
    assert phone.get("/", Accept="*/*").status == 401
    assert phone.post("/verdict", fields).status == 401
    assert other.get("/").status == 200
    mine = next(one.id for one in server.keys.phones() if one.name == "Bob's phone")
    assert other.post("/revoke", {"phone": mine}).status == 303
    assert other.get("/", Accept="*/*").status == 401
    assert list_verdicts(shelf) == []


def test_a_code_pairs_once_and_guesses_are_slowed_down(server: PhoneServer) -> None:
    code = server.keys.new_code()
    stranger = Client(server)
    first = stranger.post("/pair", {"code": code, "name": "one"})
    assert (first.status, first.headers["location"]) == (303, "/")
    assert {"HttpOnly", "SameSite=strict", "Path=/"} <= set(first.headers["set-cookie"].split("; "))
    replayed = stranger.post("/pair", {"code": code, "name": "two"})
    assert replayed.status == 403
    assert "set-cookie" not in replayed.headers
    answers = [stranger.post("/pair", {"code": f"AAAA-BBBB-{n:04}"}).status for n in range(15)]
    assert answers[-1] == 429
    assert set(answers) == {403, 429}
    assert [one.name for one in server.keys.phones()] == ["one"]


def test_a_code_that_is_opened_by_a_preview_is_not_used_up(server: PhoneServer) -> None:
    """Scanners and messengers open an address before the person does."""
    code = server.keys.new_code()
    for path in ("/pair", f"/pair?code={code}", f"/pair/{code}"):
        Client(server).get(path)
    assert server.keys.is_open(code)


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "127.0.0.1", "localhost:1", "[::1]:80", ""])
def test_another_host_name_is_refused_for_reading_and_for_writing(phone: Client, shelf: Farm, host: str) -> None:
    """An address of an attacker that leads here (DNS rebinding)."""
    fields = {"vessel": "B002", "subject": "green", "verdict": "confirmed"}
    assert phone.get("/", Host=host).status == 421
    assert Client(phone.server).get("/pair", Host=host).status == 421
    assert phone.post("/verdict", fields, Host=host).status == 421
    assert list_verdicts(shelf) == []


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1", "-"])
def test_a_change_from_another_site_is_refused_even_with_the_token(phone: Client, shelf: Farm, origin: str) -> None:
    fields = {"vessel": "B002", "subject": "green", "verdict": "confirmed"}
    content = b"\xff\xd8\xff" + b"0" * 100
    assert phone.post("/verdict", fields, Origin=origin).status == 403
    assert phone.put(hashlib.sha256(content).hexdigest(), content, Origin=origin).status == 403
    assert Client(phone.server).post("/pair", {"code": phone.server.keys.new_code()}, Origin=origin).status == 403
    assert list_verdicts(shelf) == []
    assert not (shelf.folder / FOLDER).exists()


def test_other_sites_may_not_fetch_what_a_paired_browser_may(phone: Client) -> None:
    """Fetch metadata (W3C): a script or picture of another site, against a link that a person follows."""
    assert phone.get("/", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="no-cors").status == 403
    assert phone.get("/", Sec_Fetch_Site="same-site", Sec_Fetch_Mode="cors").status == 403
    assert phone.get("/", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="navigate").status == 200
    assert phone.get("/", Sec_Fetch_Site="same-origin", Sec_Fetch_Mode="cors").status == 200


@pytest.mark.parametrize("token", ["", "guess", "\u2603", "0" * 64])
def test_a_change_without_the_token_is_refused(phone: Client, shelf: Farm, token: str) -> None:
    fields = {"token": token, "vessel": "B002", "subject": "green", "verdict": "confirmed"}
    for path in CHANGES:
        assert phone.post(path, fields).status == 403, path
    assert phone.put("0" * 64, b"x", X_Form_Token=token.encode("ascii", "replace").decode()).status == 403
    assert list_verdicts(shelf) == []


def test_the_token_of_one_phone_is_worth_nothing_with_another(server: PhoneServer, shelf: Farm) -> None:
    one, other = paired(server, "one"), paired(server, "other")
    assert one.post("/hide", {"token": other.token}).status == 403
    assert one.post("/hide", {}).status == 303


def test_every_answer_forbids_what_the_page_does_not_need(phone: Client) -> None:
    for path in (*PAGES, "/pair", "/static/app.css", "/nothing", "/worker.js"):
        for client in (phone, Client(phone.server)):
            headers = client.get(path).headers
            policy = headers["content-security-policy"]
            assert "default-src 'none'" in policy
            assert "unsafe" not in policy
            assert "frame-ancestors 'none'" in policy
            assert "form-action 'self'" in policy
            assert headers["x-content-type-options"] == "nosniff"
            assert headers["x-frame-options"] == "DENY"
            assert headers["referrer-policy"] == "same-origin"
            assert headers["cross-origin-resource-policy"] == "same-origin"
            assert headers["cache-control"] in ("no-store", "no-cache")
            assert "access-control-allow-origin" not in headers
            assert "server" not in headers


def test_pages_have_no_script_and_no_style_of_their_own(phone: Client) -> None:
    """Otherwise the policy, which allows files only, would stop them."""
    for path in ("/", "/take", "/review", "/vessels", "/vessel/B002", "/more", "/pair"):
        page = phone.get(path).text
        assert re.findall(r"<script(?![^>]* src=)", page) == []
        assert re.findall(r"<style|\sstyle=|\son[a-z]+=", page) == []


def test_without_lan_it_listens_on_the_loopback_address_only(server: PhoneServer) -> None:
    assert {one.getsockname()[0] for one in server._sockets} == {"127.0.0.1"}
    assert server.site.names == ("127.0.0.1", "localhost")


def test_no_path_leads_out_of_what_is_served(phone: Client) -> None:
    assert phone.get("/").status == 200  # the first list takes a moment
    starts = ("/", "/picture/", "/picture/small/", f"/picture/spot/{'0' * 64}-0/", "/static/", "/vessel/", "/photos/")
    for dots in DOTS:
        for target in TARGETS:
            for start in starts:
                answer = get(phone, f"{start}{dots * 4}{target}")
                assert answer, (start, dots, target)
                assert status_of(answer) in (400, 404, 405), (start, dots, target, answer[:200])
                assert not [secret for secret in SECRETS if secret in answer]


@pytest.mark.parametrize(
    "name", ["..", "../../phones.json", "%2e%2e", "0" * 63, "0" * 65, "g" * 64, "A" * 64, "0" * 64 + "/.."]
)
def test_a_photo_is_kept_under_its_hash_and_under_nothing_else(phone: Client, shelf: Farm, name: str) -> None:
    content = b"\xff\xd8\xff" + b"0" * 100
    answer = phone.ask("PUT", f"/photos/{name}", content, X_Form_Token=phone.token)
    assert answer.status in (404, 405)
    assert not (shelf.folder / FOLDER).exists()


def test_a_photo_of_other_content_than_its_hash_says_is_not_kept(phone: Client, shelf: Farm) -> None:
    content = b"\xff\xd8\xff" + b"0" * 100
    assert phone.put(hashlib.sha256(b"other").hexdigest(), content).status == 422
    for strange in (b"MZ" + b"0" * 100, b"<html>" + b"0" * 100, b"PK\x03\x04" + b"0" * 100, b"", b"\xff"):
        assert phone.put(hashlib.sha256(strange).hexdigest(), strange).status == 415
    assert [path for path in (shelf.folder / FOLDER).rglob("*") if path.is_file()] == []


def test_a_photo_that_is_too_large_is_refused_without_being_read(phone: Client, shelf: Farm) -> None:
    """A gigabyte announced: refused at once. More sent than announced, in chunks: refused at the limit."""
    site = phone.server.site
    head = (
        f"PUT /photos/{'0' * 64} HTTP/1.1\r\nHost: 127.0.0.1:{site.port}\r\nOrigin: {site.address}\r\n"
        f"Cookie: {site.cookie}={phone.cookie}\r\nX-Form-Token: {phone.token}\r\n"
    )
    answer = raw(phone.server, f"{head}Content-Length: 1000000000\r\n\r\n".encode() + b"\xff\xd8\xff" + b"0" * 1000)
    assert status_of(answer) == 413
    with socket.create_connection(("127.0.0.1", site.port), timeout=60) as line:
        line.sendall(f"{head}Transfer-Encoding: chunked\r\n\r\n".encode() + b"3\r\n\xff\xd8\xff\r\n")
        chunk = b"100000\r\n" + b"0" * 0x100000 + b"\r\n"
        sent = 0
        try:
            while sent < 2 * LARGEST_PHOTO:
                line.sendall(chunk)
                sent += 0x100000
        except (BrokenPipeError, ConnectionResetError):
            pass
        assert sent < LARGEST_PHOTO + 50_000_000
    time.sleep(0.3)
    assert [path for path in (shelf.folder / FOLDER).rglob("*") if path.is_file()] == []
    assert phone.get("/").status == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "PROPFIND", "get"])
def test_other_methods_are_refused_with_the_headers_of_every_answer(server: PhoneServer, method: str) -> None:
    target = "a:80" if method == "CONNECT" else "/"
    request = f"{method} {target} HTTP/1.1\r\nHost: 127.0.0.1:{server.site.port}\r\nX-Echo: marked\r\n\r\n"
    answer = raw(server, request.encode())
    assert status_of(answer) in (400, 401, 403, 404, 405), answer
    for header in (b"content-security-policy: default-src 'none'", b"x-content-type-options: nosniff"):
        assert header in answer.lower()
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
        b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 30_000 + b"\r\n",
        b"POST /pair HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
        b"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: " + b"9" * 5000 + b"\r\n\r\n",
        b"POST /pair HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
        b"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: -1\r\n\r\n",
        b"POST /pair HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
        b"Content-Type: application/x-www-form-urlencoded\r\n\r\n" + b"a=1&" * 40_000,
        b"GET / HTTP/1.1\r\nHost: {host}\r\nHost: evil.example\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: {host}\r\nConnection: Upgrade, close\r\nUpgrade: websocket\r\n"
        b"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n",
    ],
)  # fmt: skip
def test_invalid_requests_print_nothing(server: PhoneServer, content: bytes, capfd: pytest.CaptureFixture[str]) -> None:
    phone = paired(server)
    capfd.readouterr()
    host = f"127.0.0.1:{server.site.port}".encode()
    answer = raw(server, content.replace(b"{host}", host))
    assert not answer.startswith((b"HTTP/1.1 2", b"HTTP/1.1 1"))
    assert not [secret for secret in SECRETS if secret in answer]
    assert phone.get("/").status == 200
    assert capfd.readouterr().err == ""


def test_a_form_that_is_too_large_or_of_too_many_fields_is_refused(phone: Client) -> None:
    assert phone.ask("POST", "/tick", "x" * 30_000, **FORM).status == 400
    assert phone.ask("POST", "/tick", "&".join(f"a{n}=1" for n in range(90)), **FORM).status == 400
    chunked = {**FORM, "Transfer_Encoding": "chunked"}
    body = b"".join(b"1000\r\n" + b"a" * 0x1000 + b"\r\n" for _ in range(10)) + b"0\r\n\r\n"
    assert phone.ask("POST", "/tick", body, **chunked).status == 400
    assert phone.post("/tick", {"vessels": "B001", "what": "eaten"}).status == 303
    assert "Not noted: this page is out of date" in phone.get("/").text


def test_many_silent_connections_are_closed_and_others_are_served(
    phone: Client, capfd: pytest.CaptureFixture[str]
) -> None:
    """A thousand connections that send half a request: refused beyond a number, closed after a time, the page lives."""
    capfd.readouterr()
    lines = []
    for _ in range(1000):
        line = socket.create_connection(("127.0.0.1", phone.server.site.port), timeout=5)
        line.setblocking(False)
        lines.append(line)
        with suppress(OSError):  # it may be closed already
            line.send(b"POST /verdict HTTP/1.1\r\nHost: x\r\nContent-Le")
    time.sleep(1.0)
    assert sum(is_open(line) for line in lines) <= MOST_FROM_ONE
    until = time.monotonic() + 4 * HEAD_SECONDS
    while any(is_open(line) for line in lines):
        assert time.monotonic() < until
        time.sleep(0.5)
    for line in lines:
        line.close()
    assert phone.get("/").status == 200
    assert capfd.readouterr().err == ""


def is_open(line: socket.socket) -> bool:
    try:
        return line.recv(1, socket.MSG_PEEK) != b""
    except BlockingIOError:
        return True
    except OSError:
        return False


def test_too_many_requests_of_one_phone_are_put_off_and_others_are_served(server: PhoneServer) -> None:
    one, other = paired(server, "one"), paired(server, "other")
    guard: Any = server._server.config.app
    guard._asks = Rate(at_once=20, a_second=0.01)
    assert [one.get("/manifest.webmanifest").status for _ in range(25)] == [200] * 20 + [429] * 5
    assert other.get("/").status == 200


def test_a_disconnecting_browser_gives_no_traceback(phone: Client, capfd: pytest.CaptureFixture[str]) -> None:
    site = phone.server.site
    capfd.readouterr()
    for _ in range(8):
        with socket.create_connection(("127.0.0.1", site.port), timeout=5) as line:
            line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\x00\x00\x00\x00\x00\x00\x00")  # reset at close
            line.sendall(
                f"PUT /photos/{'0' * 64} HTTP/1.1\r\nHost: 127.0.0.1:{site.port}\r\nOrigin: {site.address}\r\n"
                f"Cookie: {site.cookie}={phone.cookie}\r\nX-Form-Token: {phone.token}\r\nContent-Length: 999\r\n\r\n"
                f"abc".encode()
            )
    assert phone.get("/").status == 200
    assert capfd.readouterr().err == ""


def test_answers_contain_nothing_that_was_sent(phone: Client) -> None:
    """A line feed in the address does not split the headers."""
    for probe in ("<script>alert(1)</script>", "%0d%0aSet-Cookie:%20a=b", "{{7*191}}", "';--"):
        for path in (
            f"/{quote(probe, safe='%')}",
            f"/?q={quote(probe, safe='%')}",
            f"/vessels?id={quote(probe, safe='%')}",
        ):
            answer = get(phone, path)
            assert b"<script>alert(1)" not in answer
            assert b"set-cookie" not in answer.lower().split(b"\r\n\r\n", 1)[0]
            assert b"1337" not in answer.replace(phone.token.encode(), b"")


def test_where_a_form_leads_back_to_is_a_page_of_ours(phone: Client) -> None:
    for back in ("https://evil.example/", "//evil.example/", "/\\evil.example", "javascript:alert(1)", "/vessel//evil"):
        answer = phone.post("/hide", {"back": back})
        assert answer.headers["location"] in ("/", "/vessel/%2Fevil")
    unfolded = phone.post("/hide", {"back": '/ on-A1 "><script>alert(1)</script> on\r\nset-cookie:x=1 more and more'})
    assert (
        unfolded.headers["location"] == "/?open=on-A1&open=%22%3E%3Cscript%3Ealert%281%29%3C%2Fscript%3E&open=on#on-A1"
    )
    assert b"<script>alert(1)" not in get(phone, "/?open=%22%3E%3Cscript%3Ealert(1)")
    stranger = Client(phone.server)
    code = phone.server.keys.new_code()
    assert stranger.post("/pair", {"code": code, "next": "//evil.example"}).headers["location"] == "/"


def test_what_is_printed_has_no_key(server: PhoneServer, capfd: pytest.CaptureFixture[str]) -> None:
    phone = paired(server)
    phone.post("/tick", {"token": "wrong"})
    phone.get("/picture/none")
    printed = "".join(capfd.readouterr())
    assert phone.cookie.split(".")[1] not in printed
    assert urlencode({"token": phone.token}) not in printed
    assert replace(phone, cookie="").get("/pair").status == 200
