"""Pairing: codes that are used once and end, keys that are known by their hash alone, revocation."""

import json
from datetime import timedelta
from pathlib import Path
from threading import Thread

import pytest

from farm.store import now
from phone import keys as module
from phone.keys import CODE_LASTS, DESK_LASTS, DESK_NAME, PHONES_FILE, PairingError, PhoneKeys, form_token


@pytest.fixture
def keys(tmp_path: Path) -> PhoneKeys:
    return PhoneKeys(tmp_path)


def later(monkeypatch: pytest.MonkeyPatch, by: timedelta) -> None:
    there = now() + by
    monkeypatch.setattr(module, "now", lambda: there)


def test_a_code_becomes_a_phones_key_once(keys: PhoneKeys) -> None:
    code = keys.new_code()
    assert keys.is_open(code)
    phone, cookie = keys.pair(code, "Ann's phone")
    assert not keys.is_open(code)
    assert keys.phone_of(cookie) == phone
    with pytest.raises(PairingError, match="was used"):
        keys.pair(code, "again")
    assert [one.name for one in keys.phones()] == ["Ann's phone"]


def test_a_code_is_read_however_it_is_typed(keys: PhoneKeys) -> None:
    code = keys.new_code()
    assert len(code.replace("-", "")) == 12
    assert set(code) <= set("23456789ABCDEFGHJKMNPQRSTVWXYZ-")
    keys.pair(f" {code.lower().replace('-', ' ')} ", "typed")


def test_a_code_ends_after_ten_minutes(keys: PhoneKeys, monkeypatch: pytest.MonkeyPatch) -> None:
    code = keys.new_code()
    later(monkeypatch, CODE_LASTS - timedelta(seconds=5))
    assert keys.is_open(code)
    later(monkeypatch, CODE_LASTS + timedelta(seconds=5))
    assert not keys.is_open(code)
    with pytest.raises(PairingError):
        keys.pair(code, "late")


def test_this_computers_own_key_ends_by_itself(keys: PhoneKeys, monkeypatch: pytest.MonkeyPatch) -> None:
    phone, cookie = keys.pair(keys.new_code(desk=True), "ignored")
    assert phone.name == DESK_NAME
    later(monkeypatch, DESK_LASTS + timedelta(minutes=1))
    assert keys.phone_of(cookie) is None
    assert keys.phones() == ()


def test_the_file_has_neither_keys_nor_codes(keys: PhoneKeys, tmp_path: Path) -> None:
    open_code = keys.new_code()
    _, cookie = keys.pair(keys.new_code(), "one")
    text = (tmp_path / PHONES_FILE).read_text("utf-8")
    assert cookie.split(".")[1] not in text
    assert open_code not in text
    assert open_code.replace("-", "") not in text
    assert form_token(cookie) not in text
    assert (tmp_path / PHONES_FILE).stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("change", ["", "x", ".", "..", "a.b", "\u2603.\u2603"])
def test_what_is_no_key_is_nobodys(keys: PhoneKeys, change: str) -> None:
    phone, cookie = keys.pair(keys.new_code(), "one")
    assert keys.phone_of(change) is None
    assert keys.phone_of(cookie[:-1]) is None
    assert keys.phone_of(f"{phone.id}.") is None
    assert keys.phone_of(f"{phone.id}.{phone.key_hash}") is None


def test_revoking_counts_at_once_also_in_another_process(tmp_path: Path) -> None:
    serving, command = PhoneKeys(tmp_path), PhoneKeys(tmp_path)
    _, cookie = serving.pair(command.new_code(), "Ann's phone")
    assert serving.phone_of(cookie) is not None
    assert [one.name for one in command.revoke("ANN'S PHONE")] == ["Ann's phone"]
    assert serving.phone_of(cookie) is None
    assert command.revoke("Ann's phone") == []


def test_phones_of_one_name_are_numbered(keys: PhoneKeys) -> None:
    names = [keys.pair(keys.new_code(), name)[0].name for name in ("phone", "Phone", "phone", "", "x" * 90, "a\nb")]
    assert names == ["phone", "Phone 2", "phone 3", "phone 4", "x" * 40, "a b"]


def test_many_pairings_at_once_lose_none(tmp_path: Path) -> None:
    stations = [PhoneKeys(tmp_path) for _ in range(4)]

    def pair(keys: PhoneKeys) -> None:
        for _ in range(5):
            keys.pair(keys.new_code(), "phone")

    threads = [Thread(target=pair, args=(one,)) for one in stations]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert len(stations[0].phones()) == 20
    assert len({one.name for one in stations[0].phones()}) == 20


def test_use_is_noted_about_once_an_hour(keys: PhoneKeys, monkeypatch: pytest.MonkeyPatch) -> None:
    paired, cookie = keys.pair(keys.new_code(), "one")
    later(monkeypatch, timedelta(minutes=30))
    keys.phone_of(cookie)
    assert keys.phones()[0].seen_at == paired.seen_at
    later(monkeypatch, timedelta(minutes=90))
    keys.phone_of(cookie)
    assert keys.phones()[0].seen_at > paired.seen_at


@pytest.mark.parametrize("content", ["", "{", "[]", '{"phones": 1, "codes": {}, "address": ""}', '{"phones": [{}]}'])
def test_a_file_that_cannot_be_read_is_named(keys: PhoneKeys, tmp_path: Path, content: str) -> None:
    (tmp_path / PHONES_FILE).write_text(content)
    with pytest.raises(PairingError, match=r"phones\.json cannot be read .*pair the phones again"):
        keys.phones()


def test_a_token_tells_nothing_of_the_key_and_is_the_same_after_a_restart(keys: PhoneKeys) -> None:
    _, cookie = keys.pair(keys.new_code(), "one")
    assert form_token(cookie) == form_token(cookie)
    assert form_token(cookie) != form_token(cookie + "x")
    assert cookie.split(".")[1] not in form_token(cookie)


def test_the_address_is_kept_for_another_terminal(keys: PhoneKeys, tmp_path: Path) -> None:
    assert keys.address == ""
    keys.note_address("http://192.168.1.5:8714")
    keys.pair(keys.new_code(), "one")
    assert PhoneKeys(tmp_path).address == "http://192.168.1.5:8714"
    assert set(json.loads((tmp_path / PHONES_FILE).read_text("utf-8"))) == {"phones", "codes", "address"}
