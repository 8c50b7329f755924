"""The definitions are those of pymavlink, and its module is not loaded for them."""

import subprocess
import sys

import pymavlink.dialects.v20.all as dialect
import pytest

from onboard.telemetry.mavlink.__main__ import definitions_text
from onboard.telemetry.mavlink.definitions import ADDED, FILE, definition, lines, numbers
from tests.patience import PATIENCE_S

NOT_LOADED = """
import sys
import onboard.telemetry.mavlink.layouts as layouts
assert layouts.message_name(0) == "HEARTBEAT" and layouts.layout(30).crc_extra == 39
assert not any(name.startswith("pymavlink") for name in sys.modules)
"""


def test_every_message_has_its_fields_in_wire_order() -> None:
    assert lines().keys() == {*dialect.mavlink_map, *ADDED}
    for number, message in dialect.mavlink_map.items():
        found = definition(number)
        assert (found.name, found.crc_extra) == (message.msgname, message.crc_extra)
        types = [
            message.fieldtypes[message.fieldnames.index(n)] for n in message.ordered_fieldnames
        ]
        expected = zip(message.ordered_fieldnames, types, message.array_lengths, strict=True)
        assert found.fields == tuple(expected)
        assert numbers()[message.msgname] == number
    assert all(definition(number) == added for number, added in ADDED.items())


def test_the_file_is_what_the_command_writes() -> None:
    assert FILE.read_text(encoding="ascii") == definitions_text()


@pytest.mark.slow
def test_pymavlink_is_not_loaded_for_them() -> None:
    subprocess.run([sys.executable, "-c", NOT_LOADED], check=True, timeout=PATIENCE_S)
