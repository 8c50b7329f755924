"""Files that are no log are named in one line."""

import zlib
from pathlib import Path

import pytest

from onboard.errors import LogError
from onboard.telemetry.logs.foreign import seems_to_be
from onboard.telemetry.logs.formats import open_cursor, open_log
from onboard.telemetry.logs.onboard_log.record_layouts import OWN_RECORD

TEXT_FORM = b"FMT, 128, 89, FMT, BBnNZ, Type,Length,Name,Format,Columns\nGPS, 3, 1000, 1800\n"


@pytest.mark.parametrize(
    ("head", "what"),
    [
        (b"\xff\xd8\xff\xe0\x00\x10JFIF" + zlib.compress(bytes(300)), "a JPEG picture"),
        (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
        (TEXT_FORM * 3, "the text form of an on-board log (give the binary"),
        (b"Went out at nine, came back at ten.\n" * 50, "a text file"),
        ("Früh los, spät zurück.\n".encode() * 50, "a text file"),
        (b'<?xml version="1.0"?>\n<gpx>', "an XML file"),
        (b"BZh91AY&SY", "a bzip2 archive (unpack it first)"),
        (bytes(5000), "one byte repeated"),
    ],
)
def test_it_is_named_in_one_line(tmp_path: Path, head: bytes, what: str) -> None:
    path = tmp_path / "x.log"
    path.write_bytes(head)
    for read in (lambda: list(open_log(path).parts()), lambda: open_cursor(path)):
        with pytest.raises(LogError) as refused:
            read()
        line = str(refused.value)
        assert line.startswith(f"{path}: no MAVLink frame in it; it seems to be {what}")
        assert "\n" not in line


def test_what_is_not_known_is_not_named() -> None:
    assert seems_to_be(b"\x01\x02\x03\xfd" * 50) == ""
    assert seems_to_be(b"") == ""


def test_an_onboard_log_without_a_clock_says_so(tmp_path: Path) -> None:
    path = tmp_path / "x.bin"
    path.write_bytes(OWN_RECORD * 3)
    with pytest.raises(LogError, match=r"on-board log without a clock: none of its 3 records"):
        list(open_log(path).parts())
