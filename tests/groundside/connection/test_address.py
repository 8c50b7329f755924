"""Addresses as typed by people."""

import pytest

from groundside.connection.address import parse_address
from onboard.errors import UsageError


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("board.local", ("board.local", 27220)),
        ("192.0.2.7:80", ("192.0.2.7", 80)),
        ("[2001:db8::7]", ("2001:db8::7", 27220)),
        ("[2001:db8::7]:65535", ("2001:db8::7", 65535)),
        ("2001:db8::7", ("2001:db8::7", 27220)),
    ],
)
def test_addresses(text: str, address: tuple[str, int]) -> None:
    assert parse_address(text, 27220) == address


@pytest.mark.parametrize(
    "text",
    ["", ":80", "host:", "host:0", "host:65536", "host:x", "host:-1", "[::1", "[::1]80", "a b",
     "tcp://host:80", "host:²", "host:99999999999", "host:000001" + "1" * 5000],
)  # fmt: skip
def test_a_bad_address_is_refused_with_a_good_example(text: str) -> None:
    with pytest.raises(UsageError, match=r"expected HOST or HOST:PORT, such as 192\.0\.2\.7:27220"):
        parse_address(text, 27220)
