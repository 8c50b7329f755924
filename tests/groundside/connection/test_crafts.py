"""The paired crafts' file: private to its owner, errors in one line."""

import json
import os
import stat
from dataclasses import replace
from pathlib import Path

import pytest

from groundside.connection.crafts import Craft, CraftBook, crafts_path
from onboard.errors import UsageError

SKIFF = Craft("skiff", "ab" * 32, "token", "crew", ("192.0.2.7",), 27222)


def test_the_file_is_private_to_its_owner(tmp_path: Path) -> None:
    path = tmp_path / "config" / "wattwake" / "crafts.json"
    before = os.umask(0)
    try:
        CraftBook(path).remember(SKIFF)
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    assert CraftBook(path).crafts == (SKIFF,)


def test_pairing_again_replaces_the_earlier_entry(tmp_path: Path) -> None:
    book = CraftBook(tmp_path / "crafts.json")
    book.remember(SKIFF)
    book.remember(replace(SKIFF, token="newer", hosts=("192.0.2.9",)))
    assert [one.token for one in CraftBook(tmp_path / "crafts.json").crafts] == ["newer"]


def test_a_second_craft_of_the_same_name_gets_a_number(tmp_path: Path) -> None:
    book = CraftBook(tmp_path / "crafts.json")
    book.remember(SKIFF)
    assert book.remember(replace(SKIFF, fingerprint="cd" * 32)).name == "skiff-2"
    assert book.named("skiff") == SKIFF
    assert book.named("sloop") is None


def test_a_craft_is_looked_up_by_address(tmp_path: Path) -> None:
    book = CraftBook(tmp_path / "crafts.json")
    book.remember(replace(SKIFF, hosts=("192.0.2.7", "198.51.100.1")))
    for port in (None, 27222):
        found = book.at("198.51.100.1", port)
        assert found is not None and found.hosts[0] == "198.51.100.1"
    assert book.at("198.51.100.1", 1) is None
    assert book.at("192.0.2.8") is None


def test_forgetting_is_permanent_and_an_unknown_name_is_an_error(tmp_path: Path) -> None:
    book = CraftBook(tmp_path / "crafts.json")
    book.remember(SKIFF)
    with pytest.raises(UsageError, match="no craft of that name: known: skiff"):
        book.forget("sloop")
    book.forget("skiff")
    assert CraftBook(tmp_path / "crafts.json").crafts == ()


def test_a_file_readable_by_others_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "crafts.json"
    CraftBook(path).remember(SKIFF)
    path.chmod(0o644)
    with pytest.raises(UsageError, match="chmod 600"):
        CraftBook(path)


@pytest.mark.parametrize(
    "change",
    [
        lambda raw: None,
        lambda raw: raw | {"schema": 2},
        lambda raw: raw | {"crafts": [raw["crafts"][0] | {"more": 1}]},
        lambda raw: raw | {"crafts": [raw["crafts"][0] | {"port": 0}]},
        lambda raw: raw | {"crafts": [raw["crafts"][0] | {"hosts": []}]},
        lambda raw: raw | {"crafts": [raw["crafts"][0] | {"fingerprint": "xy"}]},
        lambda raw: raw | {"crafts": [raw["crafts"][0] | {"name": "\x1b[2J"}]},
    ],
)
def test_a_damaged_file_is_a_one_line_error(tmp_path: Path, change) -> None:
    path = tmp_path / "crafts.json"
    CraftBook(path).remember(SKIFF)
    path.write_text(json.dumps(change(json.loads(path.read_text()))))
    with pytest.raises(UsageError, match="cannot be used") as problem:
        CraftBook(path)
    assert "\n" not in str(problem.value)


def test_the_file_is_beside_the_preferences(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", "/somewhere")
    assert crafts_path() == Path("/somewhere/wattwake/crafts.json")
