"""Identifying viewers by their first lines, without a connection."""

import asyncio
from pathlib import Path

import pytest

from onboard.crew.door import CrewDoor, DoorSettings
from onboard.crew.invitation import CODE_BYTES
from onboard.crew.joining import FIRST_LINE_MOST_BYTES, Join, Pair
from onboard.crew.limits import CODES_BURST
from onboard.crew.members import CrewBook, Member
from onboard.feed.server import FeedServer


@pytest.fixture
def book(tmp_path: Path) -> CrewBook:
    return CrewBook(tmp_path)


def door_of(book: CrewBook) -> CrewDoor:
    settings = DoorSettings("127.0.0.1", 0, book.path.parent, "skiff")
    return CrewDoor(settings, FeedServer())


def joined(book: CrewBook, name: str = "phone") -> str:
    made = book.redeem(book.invite("crew", name), "x")
    assert made is not None
    return made[1]


def identified(door: CrewDoor, *lines: bytes) -> list[Member | None]:
    """Return the member that each line identifies."""

    async def asked() -> list[Member | None]:
        found = [await door.identify(line) for line in lines]
        return [None if one is None else one[0] for one in found]

    return asyncio.run(asked())


def test_a_token_is_invalid_from_the_moment_it_is_revoked(book: CrewBook) -> None:
    door, phone, tablet = door_of(book), joined(book), joined(book, "tablet")
    lines = Join(phone).as_line(), Join(tablet).as_line()
    assert [one and one.name for one in identified(door, *lines)] == ["phone", "tablet"]
    # Not only at the next poll: whoever revokes is told that it is done.
    book.revoke("phone")
    assert [one and one.name for one in identified(door, *lines)] == [None, "tablet"]


def test_a_new_member_is_known_at_once(book: CrewBook) -> None:
    door = door_of(book)
    assert identified(door, Join("a" * 43).as_line()) == [None]
    assert identified(door, Join(joined(book)).as_line()) != [None]


def test_codes_are_rate_limited_and_tokens_are_not(book: CrewBook) -> None:
    door, token, code = door_of(book), joined(book), book.invite("crew", "tablet")
    wrong = [Pair(bytes(CODE_BYTES), "x").as_line()] * round(CODES_BURST + 5)
    good = Pair(code, "x").as_line()
    *none, tried, member = identified(door, *wrong, good, Join(token).as_line())
    assert none == [None] * len(wrong)
    assert tried is None
    assert member is not None
    # The good code was not evaluated, so it is not spent.
    (tablet,) = identified(door_of(book), good)
    assert tablet is not None
    assert tablet.name == "tablet"


def test_a_viewer_revoked_while_pairing_is_refused(
    book: CrewBook, monkeypatch: pytest.MonkeyPatch
) -> None:
    door, redeem = door_of(book), CrewBook.redeem

    def revoked_at_once(self: CrewBook, code: bytes, name: str) -> tuple[Member, str] | None:
        made = redeem(self, code, name)
        assert made is not None
        assert self.revoke(made[0].name)
        return made

    monkeypatch.setattr(CrewBook, "redeem", revoked_at_once)
    assert identified(door, Pair(book.invite("crew", "phone"), "x").as_line()) == [None]


def test_a_first_line_that_is_too_long_is_refused(book: CrewBook) -> None:
    door, line = door_of(book), Join(joined(book)).as_line()
    fits = line.rstrip(b"\n").ljust(FIRST_LINE_MOST_BYTES - 1) + b"\n"
    assert identified(door, fits) != [None]
    assert identified(door, fits[:-1] + b" \n") == [None]
