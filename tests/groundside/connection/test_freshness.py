"""Age of the figures, and when they are too old to ride by."""

import pytest

from groundside.connection.freshness import data_age_s, is_stale
from groundside.connection.source import ReplayState
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import replayed, snapshot

NEVER = Unknown(Reason.NO_AUTOPILOT)
GOES_ON, PAUSED, AT_END = replayed(), replayed(paused=True), replayed(720.0)


@pytest.mark.parametrize(
    ("age_s", "since_s", "replay", "seen_s", "stale"),
    [
        (0.1, 0.0, None, 0.1, False),
        (0.1, 2.0, None, 2.1, False),
        (0.1, 2.1, None, 2.2, True),
        (0.1, -1.0, None, 0.1, False),
        (5.0, 0.0, None, 5.0, False),
        (5.1, 0.0, None, 5.1, True),
        (NEVER, 0.0, None, None, False),
        (NEVER, 2.1, None, None, True),
        # A replay ages by its log alone, so that a busy machine does not make it stale.
        (0.1, 3.0, GOES_ON, 0.1, False),
        (6.0, 0.0, GOES_ON, 6.0, True),
        (0.1, 3.0, PAUSED, 0.1, False),
        (0.1, 3.0, AT_END, 0.1, False),
        # In a gap of the log the figures are as old as they were on the water.
        (6.0, 3.0, PAUSED, 6.0, True),
    ],
)
def test_age_and_staleness(
    age_s: Number, since_s: float, replay: ReplayState | None, seen_s: float | None, stale: bool
) -> None:
    shown = snapshot(link__age_s=age_s)
    age = data_age_s(shown, since_s, replay)
    assert age == (None if seen_s is None else pytest.approx(seen_s))
    assert is_stale(shown, since_s, replay) is stale


@pytest.mark.parametrize(
    ("t_s", "paused", "still"),
    [(0.0, False, False), (719.9, False, False), (720.0, False, True), (0.0, True, True)],
)
def test_when_a_replay_stands_still(t_s: float, paused: bool, still: bool) -> None:
    assert replayed(t_s, paused=paused).stands_still is still
