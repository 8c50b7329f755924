"""Gathers the facts: the one part of the check that opens links, sockets and folders."""

import contextlib
import datetime
import math
import os
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from onboard.ashore.daemon_feed import DaemonFeed, probe
from onboard.ashore.facts import (
    AutopilotFacts,
    ClockFacts,
    DiskFacts,
    Facts,
    FeedFacts,
    FixFacts,
    LinkFacts,
    PairingFacts,
    Port,
    PowerFacts,
)
from onboard.ashore.listening import listen, newest
from onboard.contract.figure import Number, Unknown
from onboard.contract.reasons import Reason
from onboard.contract.snapshot import Snapshot
from onboard.crew.addresses import reached_here_at
from onboard.crew.keys import is_paired, own_fingerprint, readable_by_others
from onboard.crew.members import CrewBook
from onboard.errors import LinkError, UsageError
from onboard.profile import Profile
from onboard.ride.ride import Ride
from onboard.telemetry.link.base import Link
from onboard.telemetry.link.opening import open_link


@dataclass(frozen=True)
class CheckSettings:
    """What is checked; profile and command line are already merged, as for the daemon."""

    profile: Profile
    profile_path: Path | None
    connection: str
    baud: int
    system_id: int | None
    listen: tuple[str, int]
    record: Path | None
    seconds_s: float = 10.0
    pairing: Path | None = None
    crew: tuple[str, int] | None = None


@dataclass(frozen=True)
class Clocks:
    """The clocks of the check: monotonic [s], and the board's time of day [us since the epoch]."""

    clock_s: Callable[[], float] = time.monotonic
    now_us: Callable[[], int] = lambda: time.time_ns() // 1000


def gather(settings: CheckSettings, clocks: Clocks | None = None) -> Facts:
    """Gather all facts.

    Raises
    ------
    UsageError
        If the link's words mean nothing.
    LinkError
        If a file that should be played cannot be read.
    """
    clocks = clocks or Clocks()
    feed = probe(*settings.listen, clocks.clock_s)
    try:
        link = open_link(settings.connection, settings.baud)
    except LinkError as problem:
        if settings.connection.startswith("file:"):
            raise
        facts = _from_daemon(settings, clocks, feed) if feed.held_by is Port.OURS else None
        return facts or _nothing(settings, clocks, feed, str(problem))
    try:
        return _from_link(settings, clocks, feed, link)
    finally:
        link.close()


def _wanted(settings: CheckSettings) -> int | None:
    return settings.system_id or settings.profile.link.system_id


def _from_link(settings: CheckSettings, clocks: Clocks, feed: FeedFacts, link: Link) -> Facts:
    ride = Ride(settings.profile, settings.system_id)
    heard = listen(link, ride, settings.seconds_s, clocks.clock_s, clocks.now_us)
    craft = ride.decoder.craft
    armed = newest(ride, "heartbeat", "armed")
    utc_s = ride.clocks.utc_s
    if math.isfinite(utc_s) and heard.heard_at_us is not None:
        # What the autopilot's clock said when its last message came.
        clock = ClockFacts(heard.heard_at_us * 1e-6, utc_s)
    else:
        clock = ClockFacts(clocks.now_us() * 1e-6)
    bytes_per_s = heard.record_bytes / max(heard.seconds_s, 1e-3) if heard.record_bytes else None
    return Facts(
        link=LinkFacts(
            source=link.name,
            seconds_s=heard.seconds_s,
            problem=heard.problem,
            received_bytes=heard.received_bytes,
            messages=ride.messages,
            bad_bytes=ride.bad_bytes,
            lost=ride.decoder.lost,
            baud=settings.baud if settings.connection.startswith("/") else None,
        ),
        autopilot=AutopilotFacts(
            system_id=craft.system_id,
            wanted=_wanted(settings),
            others=tuple(sorted(craft.others)),
            armed=None if armed is None else bool(armed),
        ),
        fix=replace(
            _fix(heard.snapshots),
            received=True,
            fix=newest(ride, "gps", "fix"),
            satellites=newest(ride, "gps", "satellites"),
            horizontal_sd_m=newest(ride, "gps", "horizontal_sd_m"),
        ),
        power=_power(heard.snapshots),
        clock=clock,
        disk=_disk(settings.record, bytes_per_s),
        feed=feed,
        pairing=_pairing(settings),
        profile=settings.profile,
        profile_path=settings.profile_path,
    )


def _from_daemon(settings: CheckSettings, clocks: Clocks, feed: FeedFacts) -> Facts | None:
    """Ask the daemon that holds the link; None if it holds another one."""
    host, port = reached_here_at(settings.listen[0]), settings.listen[1]
    begin_s = clocks.clock_s()
    with contextlib.suppress(OSError), DaemonFeed(host, port, clocks.clock_s) as talk:
        first = talk.snapshots(2.0, most=2)
        if not first or not same_link(first[-1].link.source, settings.connection):
            return None
        snapshots = first + talk.snapshots(settings.seconds_s)
        begin, end = first[0].link, snapshots[-1].link
        utc, now_us = snapshots[-1].utc, clocks.now_us()
        return Facts(
            link=LinkFacts(
                source=settings.connection,
                seconds_s=clocks.clock_s() - begin_s,
                messages=max(end.messages - begin.messages, 0),
                bad_bytes=max(end.bad_bytes - begin.bad_bytes, 0),
                lost=max(end.lost - begin.lost, 0),
                baud=settings.baud if settings.connection.startswith("/") else None,
                asked_daemon=True,
            ),
            autopilot=AutopilotFacts(
                None if isinstance(end.system_id, Unknown) else end.system_id, _wanted(settings)
            ),
            fix=_fix(snapshots),
            power=_power(snapshots),
            clock=ClockFacts(now_us * 1e-6, _unix_s(utc)),
            disk=_disk(settings.record, None),
            feed=feed,
            pairing=_pairing(settings),
            profile=settings.profile,
            profile_path=settings.profile_path,
        )
    return None


def _nothing(settings: CheckSettings, clocks: Clocks, feed: FeedFacts, problem: str) -> Facts:
    return Facts(
        link=LinkFacts(settings.connection, problem=problem),
        autopilot=AutopilotFacts(wanted=_wanted(settings)),
        clock=ClockFacts(clocks.now_us() * 1e-6),
        disk=_disk(settings.record, None),
        feed=feed,
        pairing=_pairing(settings),
        profile=settings.profile,
        profile_path=settings.profile_path,
    )


def _pairing(settings: CheckSettings) -> PairingFacts:
    folder = settings.pairing
    if folder is None or not is_paired(folder):
        return PairingFacts()
    where = settings.crew and f"{settings.crew[0]}:{settings.crew[1]}"
    exposed = tuple(str(path) for path in readable_by_others(folder))
    try:
        own_fingerprint(folder)
        members = CrewBook(folder).read().members
    except UsageError as problem:
        return PairingFacts(True, where, (), exposed, str(problem))
    names = tuple(f"{one.name} ({one.role})" for one in members)
    return PairingFacts(True, where, names, exposed)


def same_link(source: str, connection: str) -> bool:
    """Return whether a daemon's link is the one meant.

    Examples
    --------
    >>> same_link("udpin:0.0.0.0:14550", "udp:0.0.0.0:14550")
    True
    """
    if source.startswith("/") and connection.startswith("/"):
        return os.path.realpath(source) == os.path.realpath(connection)
    plain = [
        f"udpin:{one.removeprefix('udp:')}" if one.startswith("udp:") else one
        for one in (source, connection)
    ]
    return plain[0] == plain[1]


def _series(readings: Iterable[Number]) -> tuple[float, ...]:
    return tuple(one for one in readings if not isinstance(one, Unknown))


def _why(readings: Sequence[Number]) -> str:
    """Say why the last of some readings is unknown."""
    last = readings[-1] if readings else Unknown(Reason.NOT_HEARD)
    return str(last) if isinstance(last, Unknown) else ""


def _fix(snapshots: Sequence[Snapshot]) -> FixFacts:
    speeds = [one.speed_mps for one in snapshots]
    return FixFacts(
        has_position=bool(snapshots) and not isinstance(snapshots[-1].position_deg, Unknown),
        speeds_mps=_series(speeds),
        why_no_speed=_why(speeds),
    )


def _power(snapshots: Sequence[Snapshot]) -> PowerFacts:
    amps = [one.amps_a for one in snapshots]
    volts = [one.volts_v for one in snapshots]
    return PowerFacts(
        amps_a=_series(amps),
        volts_v=_series(volts),
        why_no_amps=_why(amps),
        why_no_volts=_why(volts),
    )


def _unix_s(utc: str | Unknown) -> float | None:
    if isinstance(utc, Unknown):
        return None
    try:
        return datetime.datetime.fromisoformat(utc).timestamp()
    except ValueError:
        return None


def _disk(folder: Path | None, bytes_per_s: float | None) -> DiskFacts:
    if folder is None:
        return DiskFacts()
    # The daemon makes the folder; what counts is where it will lie.
    there = folder.absolute()
    while not there.exists() and there != there.parent:
        there = there.parent
    try:
        if not there.is_dir():
            return DiskFacts(folder, problem=f"{there} is no folder")
        room = os.statvfs(there)
    except OSError as problem:
        return DiskFacts(folder, problem=(problem.strerror or str(problem)).lower())
    if room.f_files and not room.f_favail:
        return DiskFacts(folder, problem="the disk takes no more files")
    writable = os.access(there, os.W_OK | os.X_OK)
    return DiskFacts(folder, writable, room.f_bavail * room.f_frsize, None, bytes_per_s)
