"""Messages read in plain Python give the values of the table of messages."""

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from onboard.ride.lean_rows import COLUMNS, LEAN
from onboard.telemetry.mavlink.layouts import layout
from onboard.telemetry.messages.table import MESSAGES, boot_clock_s


@pytest.mark.parametrize("number", LEAN, ids=lambda number: MESSAGES[number].name)
@given(payload=st.binary(max_size=60))
@example(payload=b"")
@example(payload=b"\xff" * 60)
@example(payload=bytes(28) + b"\x03")  # a fix at 0, 0
def test_a_payload_of_any_length_reads_as_the_table_reads_it(number: int, payload: bytes) -> None:
    message, fields = MESSAGES[number], layout(number).fields
    row = np.frombuffer(payload[: fields.itemsize].ljust(fields.itemsize, b"\0"), fields)
    stamp_ms, values = LEAN[number].read(payload)
    if message.boot_clock:
        stated_s = float(boot_clock_s(row)[0])
        assert stamp_ms * 1e-3 == (0.0 if math.isnan(stated_s) else stated_s)
    else:
        assert stamp_ms == 0
    if not values:
        assert LEAN[number].channel == ""
        return
    assert message.convert is not None
    columns = message.convert(row)
    assert LEAN[number].channel == message.channel
    for name, value in zip(COLUMNS[message.channel], values, strict=True):
        np.testing.assert_allclose(value, columns[name][0], rtol=1e-12, err_msg=name)


def test_every_message_with_a_boot_clock_is_read() -> None:
    assert {number for number, one in MESSAGES.items() if one.boot_clock} <= set(LEAN)
