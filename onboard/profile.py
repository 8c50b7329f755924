"""The craft profile: what the owner states about craft, battery, sensors and the rest, in TOML.

One row a setting: its name, type, default, meaning and limits. Nothing else needs to change for a
new setting; for a new table, add a dataclass here and its row in `Profile`. An unknown key or an
impossible value is refused with the key's name, what was given and what is allowed.
"""

import dataclasses
import os
import stat
from pathlib import Path
from typing import Any

from onboard.chemistry import CHEMISTRIES
from onboard.dataclass import dataclass
from onboard.errors import ProfileError
from onboard.setting import MOST_SHOWN, allowed, as_given, checked, setting, shortened, value_type

DEFAULT_FEED_PORT = 27220
DEFAULT_CREW_PORT = DEFAULT_FEED_PORT + 2

MOST_BYTES = 1 << 20
"""Longest profile that is read: one is a page or two, anything larger is something else."""


@dataclass(frozen=True)
class CraftSettings:
    """`[craft]`: the boat or board."""

    name: str = setting("craft", "what to call it", most_characters=80)


@dataclass(frozen=True)
class Battery:
    """`[battery]`: the pack. What only its owner can know has no default."""

    chemistry: str = setting("", "cell chemistry", choices=tuple(CHEMISTRIES), required=True)
    cells: int = setting(0, "cells in series", least=1, most=32, required=True)
    capacity_ah: float | None = setting(None, "rated charge [Ah]", least=0.1, most=2000.0)
    energy_wh: float | None = setting(None, "usable energy when full [Wh]", least=0.3, most=1e5)
    reserve_fraction: float = setting(0.2, "share of the full energy to keep", least=0.0, below=1.0)
    start_fraction: float = setting(
        1.0, "charge at the start of a trip, as a share of full", least=0.01, most=1.0
    )
    start_sd: float = setting(0.02, "how well start_fraction is known", least=0.0, most=0.5)
    capacity_sd: float = setting(
        0.03, "how well the full charge or energy is known, as a share of it", least=0.0, most=0.5
    )
    resistance_ohm: float | None = setting(
        None, "internal resistance of the whole pack [ohm]", least=1e-4, most=10.0
    )
    cutoff_v: float | None = setting(
        None, "voltage of the whole pack to stop at [V]", least=1.0, most=200.0
    )

    @property
    def full_wh(self) -> float:
        """Energy when full [Wh]: `energy_wh`, else charge times the nominal voltage."""
        if self.energy_wh is not None:
            return self.energy_wh
        return (self.capacity_ah or 0.0) * self.cells * CHEMISTRIES[self.chemistry].nominal_v

    @property
    def charged_v(self) -> float:
        """Voltage of the whole pack when fully charged [V]."""
        return self.cells * CHEMISTRIES[self.chemistry].full_v

    @property
    def full_ah(self) -> float:
        """Charge when full [Ah]: `capacity_ah`, else energy over the nominal voltage."""
        return self.capacity_ah or self.full_wh / (
            self.cells * CHEMISTRIES[self.chemistry].nominal_v
        )


@dataclass(frozen=True)
class Sensors:
    """`[sensors]`: corrections, each with its standard deviation."""

    current_scale: float = setting(1.0, "true current over reported", above=0.1, below=10.0)
    current_offset_a: float = setting(0.0, "added after scaling [A]", least=-50.0, most=50.0)
    voltage_scale: float = setting(1.0, "true voltage over reported", above=0.1, below=10.0)
    current_scale_sd: float = setting(0.02, "how well current_scale is known", least=0.0, most=1.0)
    current_offset_sd_a: float = setting(
        0.02, "how well current_offset_a is known [A]", least=0.0, most=10.0
    )
    voltage_scale_sd: float = setting(0.005, "how well voltage_scale is known", least=0.0, most=1.0)


@dataclass(frozen=True)
class Drive:
    """`[drive]`: motor and gear."""

    kv_rpm_per_v: float | None = setting(None, "motor constant [rpm/V]", least=1.0, most=1e5)
    phase_resistance_ohm: float | None = setting(
        None, "winding resistance [ohm]", least=1e-4, most=10.0
    )
    no_load_a: float | None = setting(None, "current without load [A]", least=0.0, most=100.0)
    pole_pairs: int | None = setting(
        None, "pole pairs, for drives that report electrical rpm", least=1, most=100
    )
    gear_ratio: float = setting(1.0, "motor turns per propeller turn", least=0.01, most=100.0)
    temperature_most_degc: float = setting(
        80.0, "drive temperature to warn at [degC]", least=1.0, most=200.0
    )


@dataclass(frozen=True)
class UnitsSettings:
    """`[units]`: what screens show. Files and feed stay in SI units, watt-hours and km."""

    speed: str = setting(
        "km/h",
        "speed; distance and consumption go with it: km, km, NM, mi",
        choices=("km/h", "m/s", "kn", "mph"),
    )


@dataclass(frozen=True)
class LinkSettings:
    """`[link]`: where the telemetry comes from."""

    connection: str = setting("udpin:0.0.0.0:14550", "where from, as for --link")
    baud: int = setting(57600, "speed of a serial link", least=1200, most=4_000_000)
    system_id: int | None = setting(None, "MAVLink system to follow", least=1, most=255)
    listen_only: bool = setting(False, "send nothing at all, not even that somebody is there")
    signing_key: str | None = setting(
        None, "key shared with the autopilot: unsigned frames are refused", hex_digits=64
    )


@dataclass(frozen=True)
class FeedSettings:
    """`[feed]`: where viewers connect."""

    listen: str = setting(f"127.0.0.1:{DEFAULT_FEED_PORT}", "address and port, as for --listen")
    crew_listen: str = setting(
        f"0.0.0.0:{DEFAULT_CREW_PORT}",
        "where paired viewers connect once the craft was paired; off takes none",
    )
    viewers_most: int = setting(32, "paired viewers at a time", least=1, most=256)


@dataclass(frozen=True)
class RecordSettings:
    """`[record]`: where sessions are kept."""

    directory: str | None = setting(None, "folder for session records, as for --record")


@dataclass(frozen=True)
class Profile:
    """All of a craft's settings. Everything has a default but the battery."""

    craft: CraftSettings = CraftSettings()
    battery: Battery | None = None
    sensors: Sensors = Sensors()
    drive: Drive = Drive()
    units: UnitsSettings = UnitsSettings()
    link: LinkSettings = LinkSettings()
    feed: FeedSettings = FeedSettings()
    record: RecordSettings = RecordSettings()


def load_profile(path: Path) -> Profile:
    """Read a profile.

    Raises
    ------
    ProfileError
        If the file cannot be read, is no TOML, or holds a key or value that is not allowed.
    """
    return read_profile(path)[0]


def read_profile(path: Path) -> tuple[Profile, str]:
    """Read a profile like `load_profile`; return it and its text."""
    try:
        text = _text(path)
        return parse_profile(text), text
    except OSError as problem:
        raise ProfileError(f"{path}: cannot be read ({problem.strerror})") from None
    except UnicodeDecodeError:
        raise ProfileError(f"{path}: not a text file: expected TOML") from None
    except ProfileError as problem:
        raise ProfileError(f"{path}: {problem}") from None


def _text(path: Path) -> str:
    # Non-blocking: on SIGHUP a pipe without a writer would stall the daemon.
    with os.fdopen(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC), "rb") as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise ProfileError("not a regular file: expected TOML")
        data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise ProfileError(f"more than {MOST_BYTES} bytes: expected TOML")
    return data.decode("utf-8").replace("\r\n", "\n")


def parse_profile(text: str) -> Profile:
    r"""Read a profile from TOML text.

    Raises
    ------
    ProfileError
        If it is no TOML, or holds a key or value that is not allowed.

    Examples
    --------
    >>> parse_profile("[battery]\nchemistry = 'lfp'\ncells = 0")
    Traceback (most recent call last):
    onboard.errors.ProfileError: battery.cells = 0: expected a whole number from 1 to 32
    """
    import tomllib  # only for a craft that has a profile

    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise ProfileError(f"not valid TOML: {shortened(str(problem), 2 * MOST_SHOWN)}") from None
    except (ValueError, RecursionError):
        # Limits of the standard library: numbers of thousands of digits, a thousand brackets deep.
        raise ProfileError("not valid TOML: too long a number or too deep a list") from None
    sections = {field.name: value_type(field) for field in dataclasses.fields(Profile)}
    _refuse_unknown("", tables, sections)
    values: dict[str, Any] = {}
    for name, table in tables.items():
        if not isinstance(table, dict):
            raise ProfileError(f"{name} = {as_given(table)}: expected a table, [{name}]")
        values[name] = _section(name, sections[name], table)
    profile = Profile(**values)
    battery = profile.battery
    if battery and battery.capacity_ah is None and battery.energy_wh is None:
        raise ProfileError("battery: expected capacity_ah or energy_wh, found neither")
    if battery and battery.reserve_fraction >= battery.start_fraction:
        raise ProfileError(
            f"battery.reserve_fraction = {battery.reserve_fraction}: expected less than "
            f"battery.start_fraction, {battery.start_fraction}"
        )
    if battery and battery.cutoff_v is not None and battery.cutoff_v >= battery.charged_v:
        raise ProfileError(
            f"battery.cutoff_v = {battery.cutoff_v}: expected less than {battery.charged_v:g}, "
            f"the voltage of {battery.cells} charged cells"
        )
    return profile


def _section(name: str, kind: type[Any], table: dict[str, Any]) -> Any:
    settings = {field.name: field for field in dataclasses.fields(kind)}
    _refuse_unknown(f"{name}.", table, settings)
    for key, field in settings.items():
        if field.metadata.get("required") and key not in table:
            raise ProfileError(f"{name}.{key}: missing: expected {allowed(field)}")
    return kind(**{key: checked(name, settings[key], value) for key, value in table.items()})


def _refuse_unknown(prefix: str, given: dict[str, Any], known: dict[str, Any]) -> None:
    for key in given:
        if key not in known:
            expected = ", ".join(known)
            raise ProfileError(f"{prefix}{shortened(key)}: no such key: expected one of {expected}")


def profile_for(given: Path | None, log: Path) -> Profile:
    """Return the profile given, else the one kept beside the record, else the defaults.

    Raises
    ------
    ProfileError
        If it cannot be read.
    """
    kept = (log if log.is_dir() else log.parent) / "profile.toml"
    if given is not None or kept.is_file():
        return load_profile(given or kept)
    return Profile()
