"""The crew's file: codes that are valid once and lapse, tokens, revoking."""

import json
import os
import stat
import threading
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.crew import members as crew_module
from onboard.crew.lock import locked
from onboard.crew.members import (
    CODE_LASTS_S,
    MEMBERS_MOST,
    SCHEMA,
    BoardTime,
    CrewBook,
    good_name,
)
from onboard.errors import UsageError


class Board:
    """A board with a settable clock."""

    def __init__(self) -> None:
        self.now_s, self.started = 50.0, "first"

    def time(self) -> BoardTime:
        return BoardTime(lambda: self.now_s, lambda: self.started)


def test_a_code_gives_a_token_once(tmp_path: Path) -> None:
    book = CrewBook(tmp_path)
    code = book.invite("viewer", "phone")
    made = book.redeem(code, "its own name")
    assert made is not None
    member, token = made
    assert (member.name, member.role) == ("phone", "viewer")
    assert len(token) >= 43  # 256 bits in base64
    assert book.read().member_with(token) == member
    assert book.redeem(code, "again") is None
    assert book.read().member_with(token + "x") is None
    assert book.read().codes == ()


def test_secrets_are_not_in_the_file(tmp_path: Path) -> None:
    book = CrewBook(tmp_path)
    code, other = book.invite("crew"), book.invite("crew")
    _, token = book.redeem(code, "tablet") or (None, "")
    text = book.path.read_text()
    assert token not in text and code.hex() not in text and other.hex() not in text
    assert all(stat.S_IMODE(one.stat().st_mode) == 0o600 for one in tmp_path.iterdir())


def test_a_code_lapses_by_the_boards_own_time(tmp_path: Path) -> None:
    board = Board()
    book = CrewBook(tmp_path, board.time())
    early, late = book.invite("crew"), book.invite("crew")
    board.now_s += CODE_LASTS_S - 1.0
    assert book.redeem(early, "phone") is not None
    board.now_s += 2.0
    assert book.redeem(late, "phone") is None


def test_a_code_does_not_survive_a_restart_of_the_board(tmp_path: Path) -> None:
    board = Board()
    book = CrewBook(tmp_path, board.time())
    code = book.invite("crew")
    board.started = "second"
    board.now_s += 1.0
    assert book.redeem(code, "phone") is None
    assert book.waiting() == ()


def test_revoking_removes_the_token_and_the_codes_of_that_name(tmp_path: Path) -> None:
    book = CrewBook(tmp_path)
    _, token = book.redeem(book.invite("crew"), "phone") or (None, "")
    code, others = book.invite("crew", "phone"), book.invite("crew", "tablet")
    assert book.revoke("phone")
    assert book.read().member_with(token) is None
    assert book.redeem(code, "x") is None
    assert book.redeem(others, "x") is not None
    assert not book.revoke("phone")


def test_names_are_made_unique(tmp_path: Path) -> None:
    book = CrewBook(tmp_path)
    names = [book.redeem(book.invite("crew"), "phone")[0].name for _ in range(3)]  # type: ignore[index]
    assert names == ["phone", "phone-2", "phone-3"]


def test_a_code_redeemed_concurrently_is_spent_once(tmp_path: Path) -> None:
    code = CrewBook(tmp_path).invite("crew")
    got: list[object] = []
    threads = [
        threading.Thread(target=lambda: got.append(CrewBook(tmp_path).redeem(code, "x")))
        for _ in range(6)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(got) == 6 and sum(one is not None for one in got) == 1
    assert len(CrewBook(tmp_path).read().members) == 1


def test_members_are_bounded(tmp_path: Path) -> None:
    book = CrewBook(tmp_path)
    first, _ = book.redeem(book.invite("crew"), "x") or (None, "")
    assert first is not None
    many = [asdict(replace(first, name=f"v{n}")) for n in range(MEMBERS_MOST)]
    book.path.write_text(json.dumps({"schema": SCHEMA, "members": many, "codes": []}))
    assert book.redeem(book.invite("crew"), "x") is None
    assert len(book.read().members) == MEMBERS_MOST


@pytest.mark.parametrize(
    "change",
    [
        lambda raw: "nonsense",
        lambda raw: [],
        lambda raw: raw | {"schema": 2},
        lambda raw: raw | {"more": 1},
        lambda raw: raw | {"members": [{"name": "x", "role": "owner", "token_sha256": "0" * 64}]},
        lambda raw: raw | {"members": [{"name": "x", "role": "crew", "token_sha256": ""}]},
        lambda raw: (
            raw | {"members": [{"name": "x\x1b", "role": "crew", "token_sha256": "0" * 64}]}
        ),
        lambda raw: raw | {"members": [{"name": "x", "role": "crew"}]},
        lambda raw: raw | {"codes": [{"code_sha256": "0" * 64, "role": "crew"}]},
    ],
)
def test_a_malformed_file_admits_nobody(tmp_path: Path, change) -> None:
    book = CrewBook(tmp_path)
    book.redeem(book.invite("crew"), "phone")
    book.path.write_text(json.dumps(change(json.loads(book.path.read_text()))))
    with pytest.raises(UsageError, match="pair all anew"):
        book.read()


def test_a_lock_in_use_is_an_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("onboard.crew.lock.LOCK_S", 0.05)
    with locked(tmp_path), pytest.raises(UsageError, match="somebody else holds it"):
        CrewBook(tmp_path).invite("crew")
    assert CrewBook(tmp_path).invite("crew")


def test_the_stamp_changes_with_the_file(tmp_path: Path) -> None:
    book = CrewBook(tmp_path)
    assert book.stamp() is None
    book.invite("crew")
    first = book.stamp()
    book.invite("crew")
    assert first is not None and book.stamp() != first


@given(st.text(max_size=60))
def test_names_cannot_control_a_terminal_or_a_path(name: str) -> None:
    if good_name(name):
        assert name.isprintable() and len(name) <= 40 and os.linesep not in name


def test_only_the_newest_codes_are_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(crew_module, "CODES_MOST", 3)
    book = CrewBook(tmp_path)
    codes = [book.invite("crew") for _ in range(5)]
    assert len(book.waiting()) == 3
    assert [book.redeem(code, "x") is not None for code in codes[:3]] == [False, False, True]
    assert book.redeem(codes[-1], "x") is not None
