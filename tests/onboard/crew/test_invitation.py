"""The pairing text: it round-trips, and typing errors are detected."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.crew.invitation import (
    CODE_BYTES,
    PIN_BYTES,
    Invitation,
    looks_like_one,
    parse_invitation,
)
from onboard.errors import UsageError

addresses = st.lists(st.ip_addresses(v=4).map(str), max_size=3).map(tuple)
invitations = st.builds(
    Invitation,
    addresses,
    st.integers(0, 65535),
    st.binary(min_size=PIN_BYTES, max_size=PIN_BYTES),
    st.binary(min_size=CODE_BYTES, max_size=CODE_BYTES),
)
ONE = Invitation(("192.0.2.7",), 27222, bytes(range(16)), b"abcdef")
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"  # RFC 4648, table 3


@given(invitations)
def test_round_trip(invitation: Invitation) -> None:
    text = invitation.as_text()
    assert looks_like_one(text)
    assert parse_invitation(text) == invitation


@given(invitations, st.sampled_from(["", " ", "-", "\n", " - "]))
def test_case_and_grouping_are_ignored(invitation: Invitation, between: str) -> None:
    letters = invitation.as_text().replace("-", "").lower()
    assert parse_invitation(between.join(letters)) == invitation


def test_digits_outside_base32_count_as_similar_letters() -> None:
    text = ONE.as_text()
    assert set("OIB") & set(text)
    assert parse_invitation(text.replace("O", "0").replace("I", "1").replace("B", "8")) == ONE


def test_every_wrong_letter_is_detected() -> None:
    text = ONE.as_text()
    tried = 0
    for place, right in enumerate(text):
        for letter in ALPHABET:
            # The last letter has surplus bits, which carry no information.
            if right in ("-", letter) or place == len(text) - 1:
                continue
            with pytest.raises(UsageError, match="a letter is wrong or missing"):
                parse_invitation(text[:place] + letter + text[place + 1 :])
            tried += 1
    assert tried == 49 * 31


def test_swapped_and_missing_letters_are_detected() -> None:
    letters = ONE.as_text().replace("-", "")
    for place, (one, two) in enumerate(itertools.pairwise(letters)):
        wrong = [letters[:place] + letters[place + 1 :]]
        if one != two and place < len(letters) - 2:
            wrong.append(letters[:place] + two + one + letters[place + 2 :])
        for text in wrong:
            with pytest.raises(UsageError, match="a letter is"):
                parse_invitation(text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "a letter is wrong or missing"),
        ("!" * 50, "'!' cannot be in it"),
        ("CFVFN", "a letter is wrong or missing"),
        ("A" * 50, "wrong or missing"),
    ],
)
def test_other_texts_are_errors(text: str, words: str) -> None:
    with pytest.raises(UsageError, match=words) as problem:
        parse_invitation(text)
    assert "wattwake-onboard pair" in str(problem.value)


@given(st.text(max_size=80))
def test_no_input_breaks_it(text: str) -> None:
    try:
        parse_invitation(text)
    except UsageError:
        return
    raise AssertionError("a text by chance is an invitation")


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "192.0.2.7:27222", "[2001:db8::1]:4000", "skiff", "a-very-long-board.lan"]
)
def test_a_host_is_not_a_pairing_text(host: str) -> None:
    assert not looks_like_one(host)
