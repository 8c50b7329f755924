"""The systemd unit that starts the daemon at boot, supervises and restarts it.

Settings as in systemd's man pages systemd.service(5) and systemd.exec(5), version 252.
"""

import contextlib
import grp
import os
import pwd
import sys
from itertools import zip_longest
from pathlib import Path

from onboard.dataclass import dataclass
from onboard.errors import UsageError, cause_of
from onboard.profile import Profile

UNIT_NAME = "wattwake.service"
SYSTEM_FOLDER = Path("/etc/systemd/system")

WATCHDOG_S, RESTART_S, STOP_S = 20, 2, 5
"""Silence of the daemon before a restart, pause before a restart, time allowed to stop [s]."""

GUARDED = ("/usr", "/boot", "/efi", "/etc")
"""Folders that `ProtectSystem=full` makes read-only; a record in them needs an exception."""


@dataclass(frozen=True)
class Plan:
    """Contents of the unit.

    Parameters
    ----------
    system
        Whether it is a system unit, else a user's.
    command
        Daemon and options; the program with its absolute path.
    folder
        Working directory; None if any will do.
    record
        Folder of the records; None for the daemon's default.
    user
        User of a system unit; None is root.
    group
        Group that may open the serial device; None if none is needed.
    """

    system: bool
    command: tuple[str, ...]
    folder: Path | None = None
    record: Path | None = None
    user: str | None = None
    group: str | None = None


def unit_text(plan: Plan) -> str:
    """Return the unit's text."""
    lines = ["[Unit]", "Description=wattwake: live Wh/km and range of the craft"]
    if plan.system:
        lines.append("After=network.target")
    # No limit on restarts: on the water it cannot be started manually.
    lines += ["StartLimitIntervalSec=0", "", "[Service]", "Type=notify", "NotifyAccess=main"]
    if plan.system and plan.user:
        lines.append(f"User={plan.user}")
    if plan.system and plan.group:
        lines.append(f"SupplementaryGroups={plan.group}")
    if plan.folder is not None:
        lines.append(f"WorkingDirectory={_specifiers(str(plan.folder))}")
    lines += [
        f"ExecStart={' '.join(_word(word) for word in plan.command)}",
        "ExecReload=/bin/kill -HUP $MAINPID",
        f"WatchdogSec={WATCHDOG_S}",
        "Restart=always",
        f"RestartSec={RESTART_S}",
        f"TimeoutStopSec={STOP_S}",
        "NoNewPrivileges=yes",
        "LockPersonality=yes",
    ]
    if plan.system:
        # System units only: for a user's these need a user namespace, which drops the group of the
        # serial device. PrivateDevices would hide the device, PrivateTmp and ProtectHome files that
        # the owner may keep there.
        lines += [
            "ProtectSystem=full",
            "ProtectKernelModules=yes",
            "ProtectKernelTunables=yes",
            "ProtectControlGroups=yes",
            "RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6 AF_NETLINK",
            "OOMScoreAdjust=-500",
        ]
        if plan.record is not None and str(plan.record).startswith(GUARDED):
            lines.append(f"ReadWritePaths=-{_word(str(plan.record))}")
    wanted = "multi-user.target" if plan.system else "default.target"
    return "\n".join([*lines, "", "[Install]", f"WantedBy={wanted}", ""])


def plan_unit(system: bool, profile: Profile, profile_path: Path | None) -> Plan:
    """Plan the unit from the settings of this board.

    Parameters
    ----------
    system
        Whether to make a system unit.
    profile
        Profile of the craft.
    profile_path
        Path of the profile, None without.
    """
    command, folder = daemon_command()
    if profile_path is not None:
        command = (*command, "--profile", str(profile_path.absolute()))
    user = _user(profile_path) if system else None
    record = profile.record.directory
    return Plan(
        system=system,
        command=command,
        folder=folder,
        record=None if record is None else Path(record).expanduser().absolute(),
        user=user,
        group=_device_group(profile.link.connection),
    )


def daemon_command() -> tuple[tuple[str, ...], Path | None]:
    """Return the command that starts this daemon, and the working directory if that matters."""
    # Do not resolve links: a virtual environment's interpreter is a link to another one.
    beside = Path(sys.executable).absolute().with_name("wattwake-onboard")
    if os.access(beside, os.X_OK):
        return (str(beside), "run"), None
    return (str(Path(sys.executable).absolute()), "-m", "onboard", "run"), _source_folder()


def unit_path(system: bool) -> Path:
    """Return the path of the unit."""
    if system:
        return SYSTEM_FOLDER / UNIT_NAME
    base = os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config"
    return Path(base) / "systemd" / "user" / UNIT_NAME


def install(text: str, path: Path, replace: bool) -> str:
    """Write the unit, whole or not at all; return what was done, for people.

    Raises
    ------
    UsageError
        If another unit exists and `replace` is not set, or it cannot be written.
    """
    try:
        present = path.read_text(encoding="utf-8") if path.exists() else None
        if present == text:
            return f"{path} is already as it should be"
        if present is not None and not replace:
            raise UsageError(
                f"{path} exists and differs, {difference(present, text)}: add --replace"
            )
        path.parent.mkdir(parents=True, exist_ok=True)
        new = path.with_name(f".{path.name}.new")
        new.write_text(text, encoding="utf-8")
        new.chmod(0o644)
        new.replace(path)
    except UnicodeDecodeError:
        raise UsageError(f"{path} exists and is no text: look at it, and add --replace") from None
    except OSError as problem:
        hint = (
            " (the board's folder needs sudo; --user needs none)"
            if isinstance(problem, PermissionError)
            else ""
        )
        raise UsageError(f"{path}: cannot be written: {cause_of(problem)}{hint}") from None
    return f"{'replaced' if present is not None else 'wrote'} {path}"


def difference(present: str, wanted: str) -> str:
    r"""Describe briefly where two texts differ.

    Examples
    --------
    >>> difference("[Service]\nRestart=no\nNice=5", "[Service]\nRestart=always")
    'line 2 is "Restart=no", would be "Restart=always" (and 1 more line)'
    """
    pairs = enumerate(zip_longest(present.splitlines(), wanted.splitlines(), fillvalue=""), 1)
    unlike = [(number, old, new) for number, (old, new) in pairs if old != new]
    if not unlike:
        return "in its line ends"
    number, old, new = unlike[0]
    more = len(unlike) - 1
    rest = f" (and {more} more line{'s' if more > 1 else ''})" if more else ""
    return f'line {number} is "{old}", would be "{new}"{rest}'


def next_steps(plan: Plan) -> list[tuple[str, str]]:
    """Return the commands to run next, each with its meaning."""
    control = "sudo systemctl" if plan.system else "systemctl --user"
    journal = "journalctl" if plan.system else "journalctl --user"
    service = UNIT_NAME.removesuffix(".service")
    steps = [
        (f"{control} daemon-reload", "have systemd read it"),
        (f"{control} enable --now {service}", "start it, now and with the board"),
        (f"{control} status {service}", "how it does"),
        (f"{journal} -u {service} -f", "what it says"),
    ]
    if not plan.system:
        steps.insert(2, ("loginctl enable-linger", "so that it runs before you log in"))
        if plan.group and not _in_group(plan.group):
            name = pwd.getpwuid(os.getuid()).pw_name
            open_up = (f"sudo usermod -aG {plan.group} {name}", "to open the device; then reboot")
            steps.insert(0, open_up)
    return steps


def _word(word: str) -> str:
    """Quote a word of a command line for systemd."""
    if not word.isprintable():
        raise UsageError(f"{word!r}: a path that can stand in a unit has no control characters")
    escaped = _specifiers(word).replace("\\", "\\\\").replace('"', '\\"').replace("$", "$$")
    plain = (
        escaped == word
        and not any(character.isspace() or character in "';" for character in word)
        and word
    )
    return escaped if plain else f'"{escaped}"'


def _specifiers(text: str) -> str:
    return text.replace("%", "%%")


def _source_folder() -> Path | None:
    """Return the folder of an uninstalled package, None if it is installed."""
    folder = Path(__file__).absolute().parents[2]
    return None if folder.name in ("site-packages", "dist-packages") else folder


def _user(profile_path: Path | None) -> str | None:
    """Return the user that called sudo, else the owner of the profile; None is root."""
    caller = os.environ.get("SUDO_USER") or pwd.getpwuid(os.getuid()).pw_name
    if caller == "root" and profile_path is not None:
        with contextlib.suppress(OSError, KeyError):
            caller = profile_path.owner()
    return None if caller == "root" else caller


def _device_group(connection: str) -> str | None:
    """Return the group that may open the serial device; None for other links."""
    if not connection.startswith("/"):
        return None
    with contextlib.suppress(OSError, KeyError):
        group = Path(connection).group()
        return None if group == "root" else group
    # Not plugged in now: assume the usual group, if it exists.
    with contextlib.suppress(KeyError):
        return grp.getgrnam("dialout").gr_name
    return None


def _in_group(name: str) -> bool:
    with contextlib.suppress(KeyError):
        return os.getuid() == 0 or grp.getgrnam(name).gr_gid in {os.getgid(), *os.getgroups()}
    return False
