"""Listening folds everything up to its end, and sends nothing."""

import pytest

from onboard.ashore.listening import FOLD_EVERY_S, listen
from onboard.errors import LinkEndedError, LinkError
from onboard.ride.ride import Ride
from onboard.telemetry.link.base import Part
from tests.onboard.small_rides import A_SECOND, PROFILE, START_US, second
from tests.small_streams import Sender


class Played:
    """A link that yields a second of telemetry per read, then ends or fails."""

    name, unsent_bytes = "played", 0

    def __init__(self, seconds: int, last: Exception | None = None) -> None:
        self.sender, self.seconds, self.last, self.now_s = Sender(), seconds, last, 100.0
        self.given = 0

    def read(self, timeout_s: float) -> list[Part]:
        if self.given == self.seconds:
            if self.last is not None:
                raise self.last
            self.now_s += timeout_s
            return []
        self.now_s += FOLD_EVERY_S / 4
        self.given += 1
        return [Part(second(self.given, self.sender))]

    def write(self, data: bytes, to: object = None) -> None:
        raise AssertionError("nothing is to be sent")

    def close(self) -> None:
        raise AssertionError("whoever opened it closes it")


@pytest.mark.parametrize(
    ("seconds", "last", "says"),
    [
        (3, None, False),  # everything arrives before the first evaluation
        (7, None, False),
        (6, LinkEndedError("played"), False),
        (6, LinkError("unplugged"), True),
    ],
)
def test_everything_received_is_folded(seconds: int, last: Exception | None, says: bool) -> None:
    link, ride = Played(seconds, last), Ride(PROFILE)
    until_s = seconds * FOLD_EVERY_S / 4 + 0.01
    reception = listen(link, ride, until_s, lambda: link.now_s, lambda: START_US)
    assert ride.messages == seconds * A_SECOND
    assert reception.received_bytes + 8 * ride.messages == reception.record_bytes
    assert (reception.problem is not None) is says
    assert reception.seconds_s == pytest.approx(until_s if last is None else until_s - 0.01)
    assert reception.snapshots[-1].link.messages == ride.messages
