"""What comes from elsewhere is shown as text, never as orders to the terminal."""

import pytest

from groundside.answers import printable
from onboard.contract.commands import LONGEST_BYTES


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        ("weed", "weed"),
        ("hélice 12×9", "hélice 12×9"),
        ("a\x1b[31m\nb\x07", "a[31mb"),
        ("\x9b2J\r\t\u202e", "2J"),
        (None, "None"),
        (7, "7"),
        ("x" * 10**6, "x" * LONGEST_BYTES),
    ],
)
def test_only_what_can_be_printed_is_left(given: object, shown: str) -> None:
    assert printable(given) == shown
