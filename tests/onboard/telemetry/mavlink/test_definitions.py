"""All of pymavlink's definitions are read, and its module is not kept in memory."""

import subprocess
import sys

import pymavlink.dialects.v20.all as dialect
import pytest

from onboard.telemetry.mavlink.definitions import ADDED, DEFINITIONS
from tests.patience import PATIENCE_S

LET_GO = """
import sys
import onboard.telemetry.mavlink.layouts as layouts
assert "pymavlink.dialects.v20.all" not in sys.modules
import pymavlink.dialects.v20.all as dialect
assert len(dialect.mavlink_map) > 300
assert dialect.MAVLink_heartbeat_message(1, 2, 3, 4, 5, 6).pack(dialect.MAVLink(None))
assert layouts.message_name(0) == "HEARTBEAT"
"""

KEPT = """
import pymavlink.dialects.v20.all as dialect
import onboard.telemetry.mavlink.layouts
import sys
assert sys.modules["pymavlink.dialects.v20.all"] is dialect and dialect.mavlink_map[0]
"""


def test_every_message_has_its_fields_in_wire_order() -> None:
    assert DEFINITIONS.keys() == {*dialect.mavlink_map, *ADDED}
    for number, message in dialect.mavlink_map.items():
        found = DEFINITIONS[number]
        assert (found.name, found.crc_extra) == (message.msgname, message.crc_extra)
        assert [name for name, _, _ in found.fields] == list(message.ordered_fieldnames)


@pytest.mark.slow
@pytest.mark.parametrize("script", [LET_GO, KEPT])
def test_the_module_is_dropped_unless_imported_before(script: str) -> None:
    subprocess.run([sys.executable, "-c", script], check=True, timeout=PATIENCE_S)
