"""A fault in any estimator or subscriber: the record is complete, and the others recover.

Estimators are found by walking the code: every class with a `fold`. For all functions of the
daemon, one after another: python -m tests.faults.injection
"""

import functools

import pytest

from tests.faults.injection import Fault, Outcome, run, targets, wrong

pytestmark = pytest.mark.slow

ESTIMATORS = [(module, name) for module, name in targets() if name.endswith(".fold")]

SUBSCRIBERS = [
    ("onboard.ride.ride", "Ride.take"),
    ("onboard.ride.ride", "Ride.snapshot"),
    ("onboard.ride.ride", "Ride.saved_state"),
    ("onboard.telemetry.messages.decoder", "Decoder.push"),
    ("onboard.telemetry.link.requests", "Requests.observe"),
    ("onboard.telemetry.link.requests", "Requests.due"),
    ("onboard.daemon.own_alerts", "OwnAlerts.now"),
    ("onboard.feed.server", "FeedServer.publish"),
    ("onboard.contract.codec", "plain"),
    ("onboard.restarts.session_book", "SessionBook.save_if_due"),
]

NO_FEED = ("Ride.snapshot", "FeedServer.publish", "plain")
"""Functions without which nothing can be shown; the log has the fault."""

NOT_SHOWN = ("Ride.saved_state", "OwnAlerts.now")

SHOWN = {"figures_failed", "part_left_out", "feed_failed", "requests_failed", "notes_failed"}


@functools.cache
def sound() -> Outcome:
    return run()


def test_the_walk_finds_the_estimators() -> None:
    names = {name for _, name in ESTIMATORS}
    assert {"Pack.fold", "Learner.fold", "PowerSources.fold", "SpeedSources.fold"} <= names
    assert len(ESTIMATORS) > 20


@pytest.mark.parametrize("always", [False, True], ids=["once", "always"])
@pytest.mark.parametrize(("module", "name"), ESTIMATORS + SUBSCRIBERS)
def test_a_fault_affects_nothing_else(module: str, name: str, always: bool) -> None:
    fault = Fault(module, name, always)
    outcome = run(fault)
    assert outcome.record == outcome.sent == sound().sent
    if not (always and name in NO_FEED):
        assert not wrong(outcome, sound(), always)
        if fault.calls >= fault.at_call and name not in NOT_SHOWN:
            assert outcome.alerts & SHOWN
