"""Between two folds the newest readings are those that a fold at that moment would give."""

import itertools
import random
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from onboard.contract.figure import Unknown
from onboard.contract.snapshot import Snapshot
from onboard.profile import Profile, parse_profile
from onboard.ride.newest import READINGS, Newest
from onboard.ride.ride import Ride
from onboard.telemetry.link.base import Piece
from onboard.telemetry.link.link_scanner import LinkScanner
from onboard.telemetry.mavlink.frames import Frames
from tests.craft.telemetry_log import log_frames
from tests.onboard.efficiency.test_engine_partition import leaves
from tests.onboard.small_rides import PROFILE, START_US
from tests.small_streams import Sender

LOGS = Path(__file__).parents[3] / "replay_logs"
SCALED = parse_profile(
    "[battery]\nchemistry = 'lfp'\ncells = 16\ncapacity_ah = 50\n"
    "[sensors]\ncurrent_scale = 1.03\ncurrent_offset_a = 0.2\nvoltage_scale = 0.99\n"
)
TICK_S = 0.2
FOLD_TICKS = 12


def ticks(stream: Iterator[tuple[float, bytes]]) -> list[Frames]:
    """Return what comes in at each tick."""
    scanner, parts, end_s, pieces = LinkScanner(), [], TICK_S, []
    for at_s, data in stream:
        while at_s >= end_s:
            parts.append(scanner.push(pieces))
            end_s, pieces = end_s + TICK_S, []
        pieces.append(Piece(START_US + round(at_s * 1e6) & ~3, data))
    return [*parts, scanner.push(pieces)]


def logged(name: str, seconds: float) -> list[Frames]:
    frames = list(log_frames(LOGS / name))
    begin_s = frames[0].time_s
    within = itertools.takewhile(lambda one: one.time_s - begin_s < seconds, frames)
    return ticks((one.time_s - begin_s, one.data) for one in within)


def same(one: object, other: object) -> bool:
    """Return whether two readings are the same to rounding; a reason's age may be older."""
    if isinstance(one, Unknown) or isinstance(other, Unknown):
        return isinstance(one, Unknown) and isinstance(other, Unknown) and one.code == other.code
    return one == pytest.approx(other, rel=1e-12, abs=1e-12)


def sources(ride: Ride) -> tuple[object, object]:
    """Return the sources of power and speed that are chosen."""
    side, meter = ride.engine.instruments.battery_side(), ride.engine.instruments.speed_meter()
    names = side if isinstance(side, Unknown) else side.names
    speed = ride.engine.instruments.speed
    return names, meter if isinstance(meter, Unknown) else speed.name_of(meter)


class Watched:
    """A ride folded at each tick, and one in some rhythm, with its newest readings."""

    def __init__(self, profile: Profile) -> None:
        self.always, self.rarely = Ride(profile), Ride(profile)
        self.newest = Newest(self.rarely.sensors)
        self.folded: Snapshot | None = None
        self.held: list[Frames] = []
        self.folds = self.compared = self.behind = 0

    def tick(self, frames: Frames, fold: bool, silent_s: float = 0.0) -> None:
        self.always.take(frames)
        self.held.append(frames)
        craft = self.rarely.decoder.craft
        if craft.system_id is not None:
            self.newest.read(frames, craft.system_id, craft.component_id)
        found = self.folded and self.newest.readings(self.folded, silent_s)
        if fold or not found or self.newest.in_doubt:
            self.fold(silent_s)
            return
        assert found is not None
        now = self.always.snapshot("x", age_s=silent_s)
        if sources(self.always) != sources(self.rarely):
            # Chosen anew just now: the next fold, within a second, follows.
            self.behind += 1
            assert self.behind <= FOLD_TICKS
            return
        self.behind = 0
        self.compared += 1
        for name in READINGS:
            assert same(found[name], getattr(now, name)), (name, found[name], getattr(now, name))
        assert self.newest.t_s == pytest.approx(now.t_s, abs=0.3)

    def fold(self, silent_s: float) -> None:
        began = self.rarely.decoder.craft.system_id is None
        for frames in self.held:
            self.rarely.take(frames)
        craft = self.rarely.decoder.craft
        if began and craft.system_id is not None:
            for frames in self.held:
                self.newest.read(frames, craft.system_id, craft.component_id)
        self.held = []
        if craft.system_id is not None:
            self.folds += 1
            self.folded = self.rarely.snapshot("x", age_s=silent_s)
            self.newest.restart(self.rarely, silent_s)

    def assert_equal_after_a_fold(self) -> None:
        self.fold(0.0)
        every, few = leaves(self.always.engine.figures()), leaves(self.rarely.engine.figures())
        assert every.keys() == few.keys()
        for path, value in every.items():
            if isinstance(value, float):
                assert few[path] == pytest.approx(value, rel=1e-12, abs=1e-12), path
            else:
                assert few[path] == value, path


RIDES = {name: logged(name, 60.0) for name in ("harbour_loop.tlog",)}


@settings(max_examples=4, deadline=None)
@example(gaps=[5])
@example(gaps=[1])
@given(gaps=st.lists(st.integers(1, FOLD_TICKS), min_size=1, max_size=8))
@pytest.mark.parametrize("profile", [PROFILE, SCALED], ids=["plain", "scaled"])
def test_figures_do_not_depend_on_the_rhythm_of_folds(profile: Profile, gaps: list[int]) -> None:
    there, due = Watched(profile), itertools.cycle(gaps)
    left = next(due)
    for frames in RIDES["harbour_loop.tlog"]:
        left -= 1
        there.tick(frames, fold=not left)
        left = left or next(due)
    there.assert_equal_after_a_fold()
    # In a plain ride hardly anything must be judged between the folds.
    if gaps == [5]:
        assert there.compared > 0.7 * len(RIDES["harbour_loop.tlog"])


Second = Callable[[Sender, int, random.Random], list[bytes]]


def plain_second(sender: Sender, n: int, rng: random.Random) -> list[bytes]:
    at_s = 100.0 + n * TICK_S
    return [
        sender.sys_status(50.0 + rng.uniform(-1, 1), 8 + rng.uniform(-3, 3)),
        sender.gps(2.0 + rng.uniform(-0.5, 0.5), lat=45.0 + n * 1e-6),
        sender.position(at_s, 2.0),
        sender.attitude(at_s + 0.01),
        *([sender.heartbeat()] if n % 5 == 0 else []),
    ]


def odd(n: int, change: Callable[[Sender, random.Random], list[bytes]]) -> Second:
    """Return plain telemetry with something odd from a tick on."""

    def second(sender: Sender, now: int, rng: random.Random) -> list[bytes]:
        return [*(change(sender, rng) if now >= n else []), *plain_second(sender, now, rng)]

    return second


def without(kind: str, begin: int, end: int) -> Second:
    place = {"power": 0, "gps": 1}[kind]

    def second(sender: Sender, now: int, rng: random.Random) -> list[bytes]:
        frames = plain_second(sender, now, rng)
        return frames if not begin <= now < end else frames[:place] + frames[place + 1 :]

    return second


ODD = {
    "plain": plain_second,
    "a step of the current": odd(60, lambda s, _: [s.sys_status(48.0, 60.0)]),
    "a lone sample": odd(61, lambda s, r: [s.sys_status(50.0, 300.0)] if r.random() < 0.1 else []),
    "an impossible voltage": odd(60, lambda s, _: [s.sys_status(0.0, 8.0)]),
    "an unknown current": odd(60, lambda s, _: [s.sys_status(50.0, -0.01)]),
    "a jump of the speed": odd(60, lambda s, r: [s.gps(20.0)] if r.random() < 0.1 else []),
    "a lost fix": odd(60, lambda s, r: [s.gps(2.0, fix=1)]),
    "another pack": odd(60, lambda s, r: [s.battery_status(50.0, r.uniform(3, 5), pack=1)]),
    "a stray pack": odd(60, lambda s, r: [s.battery_status(9.0, 1.0, 7)][: r.random() < 0.02]),
    "no power for a while": without("power", 62, 120),
    "no receiver for a while": without("gps", 63, 120),
    "another system": odd(20, lambda _, r: [Sender(9).sys_status(20.0, r.uniform(1, 90))]),
}


@pytest.mark.parametrize("second", ODD.values(), ids=ODD)
@pytest.mark.parametrize("seed", range(2))
def test_what_must_be_judged_is_left_to_a_fold(second: Second, seed: int) -> None:
    rng, sender, there = random.Random(seed), Sender(), Watched(SCALED)
    stream = (
        (n * TICK_S + k * 0.01, data)
        for n in range(180)
        for k, data in enumerate(second(sender, n, rng))
    )
    for n, frames in enumerate(ticks(stream)):
        there.tick(frames, fold=n % 5 == 0)
    there.assert_equal_after_a_fold()
    assert there.compared > 20


def after_a_fold(sender: Sender) -> Newest:
    """Return the newest readings just after a fold of a plain ride; nothing is in doubt."""
    there = Watched(PROFILE)
    stream = ((n * TICK_S, data) for n in range(60) for data in steady_tick(sender, n))
    for frames in ticks(stream):
        there.tick(frames, fold=True)
    assert not there.newest.in_doubt
    assert there.folded is not None
    return there.newest


def steady_tick(sender: Sender, n: int, volts: float = 50.0, amps: float = 8.0) -> list[bytes]:
    at_s = 100.0 + n * TICK_S
    stated = [sender.sys_status(volts, amps), sender.gps(2.0, lat=45.0), sender.position(at_s, 2.0)]
    return [*stated, *([sender.heartbeat()] if n % 5 == 0 else [])]


def tells(newest: Newest, frames: list[bytes]) -> bool:
    """Read a tick; return whether the newest readings can be told without a fold."""
    (read,) = ticks(iter([(0.0, b"".join(frames))]))
    newest.read(read, 1, 1)
    return not newest.in_doubt


def test_a_plain_tick_needs_no_fold() -> None:
    sender = Sender()
    assert tells(after_a_fold(sender), steady_tick(sender, 60, 50.2, 8.5))


@pytest.mark.parametrize(("volts", "amps"), [(50.0, 30.0), (50.0, -14.0), (35.0, 8.0)])
def test_a_step_that_may_be_a_lone_sample_is_left_to_a_fold(volts: float, amps: float) -> None:
    sender = Sender()
    assert not tells(after_a_fold(sender), steady_tick(sender, 60, volts, amps))


def test_an_impossible_sample_changes_nothing_and_needs_no_fold() -> None:
    sender = Sender()
    newest = after_a_fold(sender)
    before = dict(newest._packs)
    assert tells(newest, steady_tick(sender, 60, 0.0, 9.0))
    assert newest._packs == before


def test_a_pack_heard_for_the_first_time_brings_a_fold() -> None:
    sender = Sender()
    newest = after_a_fold(sender)
    begin, *rest = steady_tick(sender, 60)
    assert not tells(newest, [begin, sender.battery_status(50.0, 4.0, pack=1), *rest])
