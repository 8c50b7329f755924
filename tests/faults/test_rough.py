"""Rough handling in short: the real dashboard in a terminal, and browsers that reconnect.

The long forms are `python -m tests.faults.rough` and `python -m tests.faults.rough_tabs`.
"""

import asyncio
import random
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.daemon_process import ROOT
from tests.faults import rough
from tests.faults.rough_feed import RoughFeed
from tests.faults.rough_rider import Rider, RuleBrokenError
from tests.faults.rough_snapshots import TYPES, Maker, sane_snapshot
from tests.faults.rough_tabs import storm
from tests.faults.rough_terminal import Screen, Terminal
from tests.patience import PATIENCE_S

pytestmark = pytest.mark.slow

EPISODES = ("wild", "typing")
MALFORMED = (b"\xe9", b"\xff\xfe", b"\x1b[1;1:3u", b"\x1b[1114112u", b"\x1b[99999999999999999999u")
"""A letter as Latin-1 has it, bytes that are not UTF-8, key codes of no key."""


@pytest.fixture
def rider(tmp_path: Path) -> Iterator[Rider]:
    """A rider of a dashboard that shows an ordinary ride."""
    chance = random.Random(1)
    feed = RoughFeed(chance)
    command = [sys.executable, "-m", "groundside", "watch", f"127.0.0.1:{feed.port}"]
    places = {"XDG_CONFIG_HOME": str(tmp_path), "PYTHONPATH": str(ROOT)}
    terminal = Terminal(command, (80, 24), places)
    try:
        assert terminal.wait_for(lambda text: "437 W" in text), terminal.text()
        yield Rider(terminal, (80, 24), chance, feed)
    finally:
        terminal.close()
        feed.close()


def test_malformed_input_does_not_end_the_dashboard(rider: Rider) -> None:
    for malformed in MALFORMED:
        rider.press(malformed)
        time.sleep(0.3)  # what is read together with it is dropped, too
        rider.must_answer()
    rider.press("6")
    assert rider.wait_for("no run open")
    rider.press("q")
    assert rider.terminal.process.wait(PATIENCE_S) == 0
    assert rider.terminal.not_restored() == []


def test_a_lock_taken_while_the_terminal_had_no_focus_holds_when_it_is_back(rider: Rider) -> None:
    rider.press("6")
    assert rider.wait_for("no run open")
    rider.press("n")
    assert rider.wait_for("type it, then")
    rider.press("wet")
    rider.press("\x1b[O")
    rider.must_answer()
    rider.tap_word("lock")
    assert rider.wait_for("locked")
    assert rider.commands_during(lambda: rider.press("\x1b[I hands\r")) == []


def test_a_short_ride_with_wet_hands_breaks_no_rule() -> None:
    score = rough.handle(5, 0.0, [(80, 24)], ["watch"], EPISODES)
    print(score)
    assert not score.failures
    assert score.presses > 50


def test_a_short_storm_of_tabs_mixes_nothing_up() -> None:
    outcome = asyncio.run(storm(5, 2.0))
    print(outcome)
    assert outcome.failures == []
    assert outcome.connections["answered"] > 10


def test_the_screen_is_what_the_codes_say() -> None:
    screen = Screen(6, 2)
    for piece in (
        b"\x1b[2J\x1b[1;1Hab\x1b[38;5",
        b";1mc\x1b[2;3H\xe8\x88",
        b"\xb9x\x1b[?25l\x1b[1;2HB",
    ):
        screen.write(piece)
    assert screen.lines() == ["aBc   ", "  船 x "]
    assert screen.modes == {25: False}


def test_rules_can_be_broken(rider: Rider) -> None:
    with pytest.raises(RuleBrokenError, match="a rule"):
        rider.must(False, "a rule")
    rider.terminal.process.kill()
    rider.terminal.process.wait()
    with pytest.raises(RuleBrokenError, match="it hangs"):
        rider.must_answer()


def test_made_snapshots_have_all_that_the_schema_requires() -> None:
    needed = set(TYPES["Snapshot"]["required"])
    assert needed <= sane_snapshot(1, 600.0).keys()
    assert needed <= Maker(random.Random(1)).of(TYPES["Snapshot"]).keys()
