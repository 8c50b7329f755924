"""Alerts of the daemon itself, each while it lasts."""

from dataclasses import replace

import pytest

from onboard.contract.alerts import AlertCode
from onboard.daemon.own_alerts import SILENT_S, OwnAlerts, Running
from onboard.record.subscriber import STRICT, Subscriber
from onboard.telemetry.mavlink.signing import RefusedFrames

NOW_S = 1000.0
WELL = Running(NOW_S, None, NOW_S - 0.1, 0, RefusedFrames(), ())


def codes(running: Running) -> dict[str, str]:
    """Return the level of each alert, by code."""
    return {alert.code: alert.level for alert in OwnAlerts().now(running)}


def test_no_alert_without_a_problem() -> None:
    assert codes(WELL) == {}


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"received_s": NOW_S - SILENT_S}, {}),
        ({"received_s": NOW_S - SILENT_S - 0.1}, {"link_silent": "warning"}),
        ({"dropped_bytes": 1}, {"bytes_dropped": "warning"}),
        ({"refused": RefusedFrames(unsigned=1)}, {"frames_refused": "note"}),
        ({"refused": RefusedFrames(wrong_signature=1)}, {"frames_refused": "note"}),
        ({"refused": RefusedFrames(replayed=1)}, {"frames_refused": "note"}),
        ({"scan_faults": 1}, {"scan_failed": "warning"}),
        ({"record_faults": 1}, {"record_failed": "warning"}),
    ],
)
def test_each_problem_has_its_alert(changes: dict, expected: dict[str, str]) -> None:
    assert codes(replace(WELL, **changes)) == expected


def test_a_failing_subscriber_has_an_alert_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(STRICT, "0")
    feed = Subscriber(AlertCode.FEED_FAILED, "the feed")
    feed.failed(NOW_S, RuntimeError())
    assert codes(replace(WELL, failing=[feed])) == {"feed_failed": "warning"}


def test_an_alert_counts_from_its_last_onset() -> None:
    alerts, since = OwnAlerts(), []
    for second, dropped in enumerate([0, 5, 9, 9, 0, 1, 1]):
        running = replace(
            WELL, now_s=NOW_S + second, received_s=NOW_S + second, dropped_bytes=dropped
        )
        since.append([one.since_s for one in alerts.now(running)])
    assert since == [[], [0.0], [1.0], [2.0], [], [0.0], [1.0]]
