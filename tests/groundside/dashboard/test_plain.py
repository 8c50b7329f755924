"""The plain lines, with source and clock controlled by the test."""

import asyncio
import io
from collections.abc import AsyncIterator, Sequence

import pytest

from groundside.connection.source import Update
from groundside.dashboard.plain import line_of, run_plain
from groundside.words.units import CHOICES
from onboard.contract.alerts import Alert, AlertCode
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import TO_GO, Clock, replayed, snapshot, waiting
from tests.made_snapshot import COACH, changed
from tests.patience import PATIENCE_S

KMH = CHOICES["km/h"]


class Played:
    """Yields updates at given times of a fake clock, without waiting."""

    name = "a test"
    controls = None

    def __init__(self, clock: Clock, timed: Sequence[tuple[float, Update]]) -> None:
        self.clock = clock
        self.timed = timed
        self.closed = False

    async def stream(self) -> AsyncIterator[Update]:
        try:
            for at_s, update in self.timed:
                self.clock.now_s = 1000.0 + at_s
                yield update
        finally:
            self.closed = True


def written(timed: Sequence[tuple[float, Update]]) -> list[str]:
    clock = Clock()
    out = io.StringIO()
    asyncio.run(run_plain(Played(clock, timed), out, units=KMH, clock=clock))
    return out.getvalue().splitlines()


def test_a_whole_line() -> None:
    # by hand: 2.21 m/s = 7.956 km/h
    assert line_of(snapshot(), KMH) == (
        "00:07:11  412 W  8.0 km/h  51 (48 to 54) Wh/km (20 s)  48 (46 to 50) Wh/km (5 min)  "
        "usable 812 (771 to 853) Wh  range 16.4 (15.6 to 17.2) km  "
        "trip 1.93 (1.83 to 2.03) km 93 (88 to 98) Wh  data 0.1 s old"
    )


def test_nautical_units() -> None:
    # by hand: 2.21 m/s = 4.296 kn; 51 Wh/km * 1.852 = 94.45; 16.4 km = 8.855 NM
    line = line_of(snapshot(), CHOICES["kn"])
    assert "4.3 kn  94 (90 to 99) Wh/NM (20 s)" in line
    assert "range 8.9 (8.4 to 9.3) NM  trip 1.04 (0.99 to 1.09) NM" in line


def test_an_unknown_figure_has_its_reason() -> None:
    line = line_of(
        snapshot(power_w=Unknown(Reason.NO_CURRENT), battery=Unknown(Reason.NO_BATTERY)), KMH
    )
    assert "power unknown (the power monitor reports no current)" in line
    assert "usable unknown (no [battery] in the craft profile)" in line
    assert " 0 W" not in line


def test_stale_data_are_marked_and_give_no_cue() -> None:
    fresh = line_of(snapshot(target=TO_GO), KMH)
    old = line_of(snapshot(target=TO_GO), KMH, since_received_s=7.2)
    assert "cue ease" in fresh
    assert "STALE" not in fresh
    assert old.endswith("STALE: data 7 s old")
    assert "cue" not in old


def test_a_paused_replay_is_not_stale() -> None:
    line = line_of(snapshot(), KMH, since_received_s=60.0, replay=replayed(paused=True))
    assert line.endswith("  data 0.1 s old")


def test_alerts_are_in_the_line() -> None:
    alerts = (
        Alert(AlertCode.RESERVE_REACHED, 3.0),
        Alert(AlertCode.CANNOT_BE_MADE, 3.0, to_go_m=18_520.0, best_m=3704.0, best_speed_mps=2.0),
        Alert(AlertCode.IMPLAUSIBLE, 3.0),
    )
    line = line_of(snapshot(alerts=alerts), CHOICES["kn"])
    assert "DANGER: Reserve or cut-off reached: land now." in line
    assert (
        "WARNING: Target, 10.0 NM to go: in doubt at any speed tried. 2.0 NM is sure, at 3.9 kn."
        in line
    )
    assert "Impossible values" not in line


def test_one_line_a_second_of_the_newest() -> None:
    timed = [(i * 0.2, Update(snapshot(t_s=float(i)))) for i in range(16)]
    lines = written(timed)
    assert [line[:8] for line in lines] == ["00:00:00", "00:00:05", "00:00:10", "00:00:15"]


def test_the_last_snapshot_is_written_though_no_line_is_due() -> None:
    lines = written([(0.0, Update(snapshot(t_s=1.0))), (0.2, Update(snapshot(t_s=2.0)))])
    assert [line[:8] for line in lines] == ["00:00:01", "00:00:02"]


def test_a_problem_is_a_line_of_its_own_and_is_not_repeated() -> None:
    gone = Update(None, "no feed at 192.0.2.7:1, trying again in 2 s")
    lines = written([(0.0, gone), (1.0, gone), (2.0, gone), (3.0, Update(snapshot()))])
    assert lines[0] == gone.problem
    assert [line[:8] for line in lines[1:]] == ["00:07:11"]


class SignallingStream(io.StringIO):
    """Signals each write."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: asyncio.Queue[str] = asyncio.Queue()

    def write(self, text: str) -> int:
        self.lines.put_nowait(text)
        return len(text)


def test_the_age_grows_while_the_source_is_silent() -> None:
    async def main() -> None:
        clock, out, silent = Clock(), SignallingStream(), asyncio.Event()

        class Silent:
            name = "a test"
            controls = None

            async def stream(self) -> AsyncIterator[Update]:
                yield Update(snapshot())
                await silent.wait()

        task = asyncio.create_task(run_plain(Silent(), out, units=KMH, interval_s=0.0, clock=clock))
        assert (await out.lines.get()).endswith("data 0.1 s old\n")
        clock.now_s += 8.0
        while "STALE" not in (line := await out.lines.get()):
            pass
        assert line.endswith("STALE: data 8 s old\n")
        silent.set()
        await task

    asyncio.run(asyncio.wait_for(main(), PATIENCE_S))


class Broken(io.StringIO):
    def write(self, text: str) -> int:
        raise BrokenPipeError


def test_a_reader_that_goes_away_ends_it_quietly() -> None:
    clock = Clock()
    source = Played(clock, [(i * 1.0, Update(snapshot())) for i in range(100)])
    asyncio.run(run_plain(source, Broken(), units=KMH, clock=clock))
    assert source.closed
    assert clock.now_s < 1005.0


def test_a_fault_of_the_source_is_not_swallowed() -> None:
    class Faulty:
        name = "a test"
        controls = None

        async def stream(self) -> AsyncIterator[Update]:
            yield Update(snapshot())
            raise OSError("gone")

    with pytest.raises(OSError, match="gone"):
        asyncio.run(run_plain(Faulty(), io.StringIO(), units=KMH, clock=Clock()))


def test_before_the_first_message_one_reason_stands_for_all() -> None:
    silent = Alert(AlertCode.LINK_SILENT, 1.0, age_s=7.0)
    unheard = changed(
        waiting().snapshot, link__system_id=Unknown(Reason.NO_AUTOPILOT), alerts=(silent,)
    )
    assert line_of(unheard, KMH) == (
        "no autopilot heard yet on a test  WARNING: Nothing over the link for 7 s: check the cable."
    )


def test_the_coach_says_its_step() -> None:
    line = line_of(snapshot(coach=COACH), CHOICES["km/h"], 0.1)
    assert "coach: Hold 400 W, 42 s more." in line
    assert "coach" not in line_of(snapshot(coach=COACH), CHOICES["km/h"], 60.0)
