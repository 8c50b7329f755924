"""Gather the facts: the only part of the check that opens links, sockets and folders."""

import contextlib
import datetime
import math
import os
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from onboard.ashore.daemon_feed import DaemonFeed, probe
from onboard.ashore.facts import (
    AutopilotFacts,
    ClockFacts,
    DiskFacts,
    Facts,
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
from onboard.crew.door import DoorSettings
from onboard.crew.keys import is_paired, own_fingerprint, readable_by_others
from onboard.crew.members import CrewBook
from onboard.daemon.run_settings import Settings
from onboard.dataclass import dataclass
from onboard.errors import LinkError, UsageError, cause_of
from onboard.ride.ride import Ride
from onboard.telemetry.link.base import Link
from onboard.telemetry.link.opening import open_link


@dataclass(frozen=True)
class BoardClocks:
    """Clocks of the check: monotonic [s], and the board's time of day [us since the epoch]."""

    clock_s: Callable[[], float] = time.monotonic
    now_us: Callable[[], int] = lambda: time.time_ns() // 1000


def gather(settings: Settings, seconds_s: float = 10.0, clocks: BoardClocks | None = None) -> Facts:
    """Gather all facts.

    Parameters
    ----------
    settings
        As for the daemon.
    seconds_s
        How long to listen [s].
    clocks
        The machine's by default.

    Raises
    ------
    UsageError
        If the link is not a valid connection string.
    LinkError
        If a file to be played cannot be read.
    """
    clocks = clocks or BoardClocks()
    facts = Facts(
        link=LinkFacts(
            settings.connection,
            baud=settings.baud if settings.connection.startswith("/") else None,
        ),
        clock=ClockFacts(clocks.now_us() * 1e-6),
        feed=probe(*settings.listen, clocks.clock_s),
        autopilot=AutopilotFacts(wanted=settings.system_id or settings.profile.link.system_id),
        disk=disk_facts(settings.record),
        pairing=pairing_facts(settings.pairing, settings.door),
        profile=settings.profile,
        profile_path=settings.profile_path,
    )
    try:
        link = open_link(settings.connection, settings.baud)
    except LinkError as problem:
        if settings.connection.startswith("file:"):
            raise
        asked = None
        if facts.feed.used_by is Port.OURS:
            asked = _from_daemon(settings, seconds_s, clocks, facts)
        return asked or replace(facts, link=LinkFacts(settings.connection, problem=str(problem)))
    try:
        return _from_link(settings, seconds_s, clocks, facts, link)
    finally:
        link.close()


def _from_link(
    settings: Settings, seconds_s: float, clocks: BoardClocks, facts: Facts, link: Link
) -> Facts:
    """Add facts received over the link itself."""
    ride = Ride(settings.profile, settings.system_id)
    reception = listen(link, ride, seconds_s, clocks.clock_s, clocks.now_us)
    craft = ride.decoder.craft
    armed = newest(ride, "heartbeat", "armed")
    clock = ClockFacts(clocks.now_us() * 1e-6)
    if math.isfinite(ride.clocks.utc_s) and reception.last_frame_us is not None:
        # The autopilot's clock as of its last message.
        clock = ClockFacts(reception.last_frame_us * 1e-6, ride.clocks.utc_s)
    bytes_per_s = reception.record_bytes / max(reception.seconds_s, 1e-3)
    return replace(
        facts,
        link=replace(
            facts.link,
            source=link.name,
            seconds_s=reception.seconds_s,
            problem=reception.problem,
            received_bytes=reception.received_bytes,
            messages=ride.messages,
            bad_bytes=ride.bad_bytes,
            lost=ride.decoder.lost,
        ),
        autopilot=replace(
            facts.autopilot,
            system_id=craft.system_id,
            others=tuple(sorted(craft.others)),
            armed=None if armed is None else bool(armed),
        ),
        fix=replace(
            _fix(reception.snapshots),
            received=True,
            fix=newest(ride, "gps", "fix"),
            satellites=newest(ride, "gps", "satellites"),
            horizontal_sd_m=newest(ride, "gps", "horizontal_sd_m"),
        ),
        power=_power(reception.snapshots),
        clock=clock,
        disk=replace(facts.disk, bytes_per_s=bytes_per_s or None),
    )


def _from_daemon(
    settings: Settings, seconds_s: float, clocks: BoardClocks, facts: Facts
) -> Facts | None:
    """Add facts from the daemon that occupies the link; None if it uses another link."""
    host, port = reached_here_at(settings.listen[0]), settings.listen[1]
    begin_s = clocks.clock_s()
    with contextlib.suppress(OSError), DaemonFeed(host, port, clocks.clock_s) as feed:
        first = feed.snapshots(2.0, most=2)
        if not first or not same_link(first[-1].link.source, settings.connection):
            return None
        snapshots = first + feed.snapshots(seconds_s)
        begin, end = first[0].link, snapshots[-1].link
        return replace(
            facts,
            link=replace(
                facts.link,
                seconds_s=clocks.clock_s() - begin_s,
                messages=max(end.messages - begin.messages, 0),
                bad_bytes=max(end.bad_bytes - begin.bad_bytes, 0),
                lost=max(end.lost - begin.lost, 0),
                asked_daemon=True,
            ),
            autopilot=replace(
                facts.autopilot,
                system_id=None if isinstance(end.system_id, Unknown) else end.system_id,
            ),
            fix=_fix(snapshots),
            power=_power(snapshots),
            clock=ClockFacts(clocks.now_us() * 1e-6, _unix_s(snapshots[-1].utc)),
        )
    return None


def pairing_facts(folder: Path | None, door: DoorSettings | None) -> PairingFacts:
    """Return facts on the viewers of the encrypted door, None if it is off."""
    if folder is None or not is_paired(folder):
        return PairingFacts()
    where = None if door is None else f"{door.host}:{door.port}"
    exposed = tuple(str(path) for path in readable_by_others(folder))
    try:
        own_fingerprint(folder)
        members = CrewBook(folder).read().members
    except UsageError as problem:
        return PairingFacts(True, where, (), exposed, str(problem))
    return PairingFacts(
        True, where, tuple(f"{member.name} ({member.role})" for member in members), exposed
    )


def same_link(source: str, connection: str) -> bool:
    """Return whether a daemon's link is the one to check.

    Examples
    --------
    >>> same_link("udpin:0.0.0.0:14550", "udp:0.0.0.0:14550")
    True
    """
    if source.startswith("/") and connection.startswith("/"):
        return os.path.realpath(source) == os.path.realpath(connection)
    plain = [
        f"udpin:{name.removeprefix('udp:')}" if name.startswith("udp:") else name
        for name in (source, connection)
    ]
    return plain[0] == plain[1]


def _series(readings: Iterable[Number]) -> tuple[float, ...]:
    return tuple(reading for reading in readings if not isinstance(reading, Unknown))


def _why(readings: Sequence[Number]) -> str:
    """Return why the last reading is unknown, empty if it is not."""
    last = readings[-1] if readings else Unknown(Reason.NOT_HEARD)
    return str(last) if isinstance(last, Unknown) else ""


def _fix(snapshots: Sequence[Snapshot]) -> FixFacts:
    speeds = [snapshot.speed_mps for snapshot in snapshots]
    return FixFacts(
        has_position=bool(snapshots) and not isinstance(snapshots[-1].position_deg, Unknown),
        speeds_mps=_series(speeds),
        why_no_speed=_why(speeds),
    )


def _power(snapshots: Sequence[Snapshot]) -> PowerFacts:
    amps = [snapshot.amps_a for snapshot in snapshots]
    volts = [snapshot.volts_v for snapshot in snapshots]
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


def disk_facts(folder: Path | None) -> DiskFacts:
    """Return the room for records in a folder, which need not exist yet."""
    if folder is None:
        return DiskFacts()
    # The daemon creates the folder: check the nearest parent that exists.
    parent = folder.absolute()
    while not parent.exists() and parent != parent.parent:
        parent = parent.parent
    try:
        if not parent.is_dir():
            return DiskFacts(folder, problem=f"{parent} is no folder")
        room = os.statvfs(parent)
    except OSError as problem:
        return DiskFacts(folder, problem=cause_of(problem))
    if room.f_files and not room.f_favail:
        return DiskFacts(folder, problem="the disk takes no more files")
    return DiskFacts(folder, os.access(parent, os.W_OK | os.X_OK), room.f_bavail * room.f_frsize)
