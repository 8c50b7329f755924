"""Faults of the process, the link, the clock, the card and the autopilot."""

import math
import signal
import time
from collections.abc import Callable

from tests.faults import soak_junk
from tests.faults.soak_run import Soak

Fault = Callable[[Soak], str | None]
"""Commits the fault and returns details; None if it is not possible now."""

SERIAL_FLOOD_MOST_BYTES = 1_000_000
OTHERS_PER_S = 1_000_000
"""Limit on sound frames of others [bytes/s]: they are recorded, and a card has limited space."""
ANSWERED_AFTER_S = 2.0
ALONE_S = 1.2


def kill(soak: Soak) -> str:
    away_s = soak.chance.uniform(0.0, 3.0)
    soak.restart(signal.SIGKILL, away_s)
    return f"SIGKILL, away {away_s:.1f} s"


def term(soak: Soak) -> str:
    away_s = soak.chance.uniform(0.0, 3.0)
    soak.restart(signal.SIGTERM, away_s)
    return f"SIGTERM, away {away_s:.1f} s"


def kill_early(soak: Soak) -> str:
    """Kill, and kill again within 0.3 s of the start of the process or of its feed."""
    how, times = soak.chance.choice((signal.SIGKILL, signal.SIGTERM)), []
    soak.end(how)
    for _ in range(soak.chance.randint(1, 3)):
        up, after_s = soak.chance.random() < 0.7, soak.chance.uniform(0.0, 0.3)
        soak.start(wait=up)
        soak.wait(after_s)
        soak.end(how)
        times.append(f"{after_s:.2f} s after {'its feed' if up else 'its start'}")
    soak.start()
    return f"{how.name} again {', '.join(times)}"


def kill_silent(soak: Soak) -> str:
    """Kill, start and kill again while the autopilot is silent."""
    begun_s, after_s = time.monotonic(), soak.chance.uniform(0.5, 4.0)
    soak.stream.silent = True
    soak.restart(signal.SIGKILL, 0.0)
    soak.wait(after_s)
    soak.restart(soak.chance.choice((signal.SIGKILL, signal.SIGTERM)), 0.0)
    soak.wait(1.0)
    soak.stream.silent = False
    soak.judge.silences.append((begun_s, time.monotonic()))
    return f"killed twice while the link is silent, {after_s:.1f} s between"


def flood(kind: str) -> Fault:
    def begin(soak: Soak) -> str | None:
        if soak.busy_with("flood") or (kind == "other" and soak.card.full_s is not None):
            return None
        size = round(math.exp(soak.chance.uniform(math.log(0.2e6), math.log(12e6))))
        within_s, seed = soak.chance.uniform(0.5, 10.0), soak.chance.randrange(1 << 30)
        outlet = soak.stream.outlet
        if outlet.name == "serial":
            size = min(size, SERIAL_FLOOD_MOST_BYTES)
        if kind == "other":
            within_s = max(within_s, size / OTHERS_PER_S)
        soak.floods.append((kind, size, seed, time.monotonic()))
        stranger, run = outlet.stranger(), soak.run

        def pour() -> None:
            pieces = soak_junk.datagrams(kind, size, seed, stranger.most)
            began_s = time.monotonic()
            for n, piece in enumerate(pieces):
                ahead_s = began_s + within_s * n / len(pieces) - time.monotonic()
                if (ahead_s > 0.01 and soak.stopping.wait(ahead_s)) or soak.run is not run:
                    break
                stranger.send(piece)
            soak.wait(ANSWERED_AFTER_S)
            if answers := stranger.answers():
                text = f"{answers} datagrams after {size / 1e6:.1f} MB of {kind}"
                soak.score.fail("sent to a stranger", text)
            stranger.close()

        soak.meanwhile(f"flood_{kind}", pour)
        return f"{size / 1e6:.1f} MB within {within_s:.1f} s over {outlet.name}"

    return begin


def link_silent(soak: Soak) -> str | None:
    if soak.stream.silent:
        return None
    seconds = soak.chance.uniform(1.0, 12.0)

    def pause() -> None:
        begun_s = time.monotonic()
        soak.stream.silent = True
        soak.wait(seconds)
        soak.stream.silent = False
        soak.judge.silences.append((begun_s, time.monotonic()))

    soak.meanwhile("silence", pause)
    return f"for {seconds:.1f} s"


def link_unplug(soak: Soak) -> str | None:
    """Unplug a serial port, and plug it in under the same name as another device."""
    if soak.stream.outlet is not soak.serial or soak.busy_with("flood"):
        return None
    seconds, begun_s = soak.chance.uniform(0.2, 5.0), time.monotonic()
    soak.serial.unplug()
    soak.judge.allow("a serial port pulled out", begun_s - 0.6, time.monotonic())
    soak.wait(seconds)
    soak.serial.plug()
    soak.judge.silences.append((begun_s, time.monotonic() + 5.0))
    return f"for {seconds:.1f} s"


def clock_jump(soak: Soak) -> str:
    offset_s = soak.chance.choice((-3600.0, -30.0, 0.0, 30.0, 86400.0, -2 * 365 * 86400.0))
    soak.clock.jump(offset_s)
    return f"the wall clock is off by {offset_s:+.0f} s from now on"


def card_full(soak: Soak) -> str | None:
    if not soak.card.can_fill or soak.card.full_s is not None or soak.busy_with("flood_other"):
        return None
    seconds = soak.chance.uniform(2.0, 15.0)
    soak.card.fill()

    def later() -> None:
        soak.wait(seconds)
        soak.card.make_room()

    soak.meanwhile("card", later)
    return f"for {seconds:.1f} s"


def _flows(soak: Soak) -> bool:
    """Return whether frames have been flowing for more than a moment."""
    now_s = time.monotonic()
    before = soak.stream.newest_s(now_s - ALONE_S), soak.stream.newest_s(now_s)
    return all(
        at_s is not None and ago_s - at_s < 0.6
        for at_s, ago_s in zip(before, (now_s - ALONE_S, now_s), strict=True)
    )


def stray_pack(soak: Soak) -> str | None:
    if not _flows(soak):
        return None
    soak.stream.stray_pack()
    return "one frame of another pack"


def odd_value(soak: Soak) -> str | None:
    """Send a lone odd value between sound ones."""
    if not _flows(soak):
        return None
    amps = soak.chance.choice((-327.67, 327.67))
    soak.stream.odd_value(amps)
    soak.wait(ALONE_S)
    return f"one current of {amps:+.2f} A"


def autopilot_restart(soak: Soak) -> str:
    """Restart the boot clock; if no daemon is up, this also begins a new trip."""
    away_s, down = soak.chance.uniform(0.5, 5.0), soak.chance.random() < 0.5
    if down:
        soak.end(soak.chance.choice((signal.SIGKILL, signal.SIGTERM)))
    begun_s = time.monotonic()
    soak.stream.reboot(away_s)
    soak.judge.silences.append((begun_s, begun_s + away_s))
    begins_s = soak.judge.trip.begins_s
    if down:
        soak.judge.trip.begins_s = [soak.stream.booted_s]
        soak.judge.taken = False
        soak.wait(soak.chance.uniform(0.0, away_s + 1.0))
        soak.start()
    elif begins_s:
        soak.judge.trip.begins_s = [*begins_s, soak.stream.booted_s]
    return f"away {away_s:.1f} s, while the daemon is {'down' if down else 'up'}"


FAULTS: dict[str, tuple[Fault, float]] = {
    "kill": (kill, 4.0),
    "term": (term, 3.0),
    "kill_early": (kill_early, 2.5),
    "kill_silent": (kill_silent, 1.5),
    **{f"flood_{kind}": (flood(kind), 1.0) for kind in soak_junk.KINDS},
    "link_silent": (link_silent, 2.5),
    "link_unplug": (link_unplug, 3.0),
    "clock_jump": (clock_jump, 2.0),
    "card_full": (card_full, 2.5),
    "stray_pack": (stray_pack, 1.5),
    "odd_value": (odd_value, 1.5),
    "autopilot_restart": (autopilot_restart, 2.0),
}
"""Each fault with its relative frequency."""
