"""The plain lines, with a source and a clock that the test steers."""

import asyncio
import io
from collections.abc import AsyncIterator, Sequence

import pytest

from groundside.plain import line_of, run_plain, trip_summary_lines
from groundside.source import Update
from groundside.units import CHOICES
from tests.groundside.dashboard_help import TARGET, Clock, figure, snapshot
from tests.patience import PATIENCE_S

KMH = CHOICES["km/h"]


class Played:
    """Gives updates at set times of a clock, and so needs no time itself."""

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
        "00:07:11  412 W  8.0 km/h  51 Wh/km (20 s)  48 Wh/km (5 min)  left 812 Wh  "
        "range 16.4 km  trip 1.93 km 93 Wh  data 0.1 s old"
    )


def test_nautical_units() -> None:
    # by hand: 2.21 m/s = 4.296 kn; 51 Wh/km * 1.852 = 94.45; 16.4 km = 8.855 NM
    line = line_of(snapshot(), CHOICES["kn"])
    assert "4.3 kn  94 Wh/NM (20 s)" in line
    assert "range 8.9 NM  trip 1.04 NM" in line


def test_unknown_says_why() -> None:
    line = line_of(
        snapshot(power_w=None, battery=None, why={"power_w": "no sample", "battery": "none set"}),
        KMH,
    )
    assert "power unknown (no sample)" in line
    assert "left unknown (none set)" in line
    assert " 0 W" not in line


def test_old_data_are_called_stale_and_give_no_cue() -> None:
    fresh = line_of(snapshot(target=TARGET), KMH)
    old = line_of(snapshot(target=TARGET), KMH, since_received_s=7.2)
    assert "cue ease" in fresh
    assert "STALE" not in fresh
    assert old.endswith("STALE: data 7 s old")
    assert "cue" not in old


def test_a_paused_replay_is_not_stale() -> None:
    replay = {"speed": 1.0, "paused": True, "t_s": 5.0, "duration_s": 9.0}
    line = line_of(snapshot(replay=replay), KMH, since_received_s=60.0)
    assert line.endswith("  data 0.1 s old")


def test_alerts_stand_in_the_line() -> None:
    alerts = [
        {"code": "low", "level": "danger", "text": "turn back", "since_s": 3.0},
        {"code": "fyi", "level": "note", "text": "a note", "since_s": 3.0},
    ]
    line = line_of(snapshot(alerts=alerts), KMH)
    assert "DANGER: turn back" in line
    assert "a note" not in line


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


def test_a_silent_source_ages_before_the_eyes() -> None:
    async def main() -> str:
        clock = Clock()
        out = io.StringIO()
        silent = asyncio.Event()

        class Silent:
            name = "a test"
            controls = None

            async def stream(self) -> AsyncIterator[Update]:
                yield Update(snapshot())
                await silent.wait()

        task = asyncio.create_task(
            run_plain(Silent(), out, units=KMH, interval_s=0.02, clock=clock)
        )
        while not out.getvalue():
            await asyncio.sleep(0.001)
        clock.now_s += 8.0
        while "STALE" not in out.getvalue():
            await asyncio.sleep(0.005)
        silent.set()
        await task
        return out.getvalue()

    text = asyncio.run(asyncio.wait_for(main(), PATIENCE_S))
    assert text.splitlines()[-1].endswith("STALE: data 8 s old")


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


def test_the_summary_of_a_trip() -> None:
    trip = {
        "energy_wh": figure(93.0, 0.02),
        "distance_m": figure(1930.0, 0.01),
        "elapsed_s": 431.0,
        "mean_speed_mps": None,
        "why": {"mean_speed_mps": "never moved"},
    }
    lines = trip_summary_lines(snapshot(trip=trip), KMH)
    by_name = {line[:26].rstrip(): line[26:].strip() for line in lines}
    assert by_name["energy"] == "93.0 Wh (91.1 to 94.9)"
    assert by_name["distance"] == "1.93 km (1.91 to 1.95)"
    assert by_name["time"] == "00:07:11"
    assert by_name["mean speed"] == "unknown (never moved)"


def test_before_anything_is_heard_one_reason_stands_for_all() -> None:
    waiting = {
        "kind": "snapshot",
        "seq": 1,
        "t_s": 0.0,
        "link": {"system_id": None, "source": "udpin:0.0.0.0:1", "why": {"system_id": "no one"}},
        "alerts": [{"code": "x", "level": "warning", "text": "Link down.", "since_s": 1.0}],
    }
    assert line_of(waiting, CHOICES["km/h"]) == ("no one on udpin:0.0.0.0:1  WARNING: Link down.")
