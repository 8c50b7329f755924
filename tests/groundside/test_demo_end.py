"""The demo ends when its daemon has taken the whole ride, however long that takes."""

from pathlib import Path

from groundside.demo.source import STUCK_UPDATES, DemoSource
from groundside.source import Update
from tests.made_snapshot import made_snapshot

RIDE = Path(__file__).parents[2] / "replay_logs" / "harbour_loop.tlog"


def ends(taken: list[int | None], sent: int) -> list[bool]:
    """Tell after each update whether the demo ends; None is an update without a snapshot."""
    source = DemoSource(RIDE, RIDE.with_suffix(".toml"))
    source.sent = sent
    updates = [
        Update(None, "gone") if one is None else Update(made_snapshot(link__messages=one))
        for one in taken
    ]
    return [source._caught_up(update) for update in updates]


def test_a_slow_daemon_is_waited_for() -> None:
    slow = [n // 10 for n in range(1, 1001)]
    assert ends(slow, 100) == [False] * 999 + [True]


def test_what_is_lost_is_not_waited_for() -> None:
    assert ends([90] * (STUCK_UPDATES + 1), 100) == [False] * STUCK_UPDATES + [True]


def test_a_daemon_that_is_gone_is_not_waited_for() -> None:
    assert ends([90] + [None] * STUCK_UPDATES, 100) == [False] * STUCK_UPDATES + [True]
