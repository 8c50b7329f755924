"""The unit: its text, systemd's own verdict on it, and how it is installed."""

import grp
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from onboard.ashore import service_unit
from onboard.ashore.service_unit import (
    Plan,
    daemon_command,
    difference,
    install,
    next_steps,
    plan_unit,
    unit_path,
    unit_text,
)
from onboard.command_line import main
from onboard.errors import UsageError
from onboard.profile import Profile, parse_profile

COMMAND = (sys.executable, "-m", "onboard", "run")


def settings(text: str) -> dict[str, str]:
    """Return the unit's settings, after checking that each key occurs once."""
    pairs = [line.partition("=") for line in text.splitlines() if "=" in line]
    assert len({key for key, _, _ in pairs}) == len(pairs)
    return {key: value for key, _, value in pairs}


def test_a_system_unit_restarts_without_limit_and_may_open_the_device() -> None:
    plan = Plan(True, COMMAND, user="skipper", group="dialout")
    found = settings(unit_text(plan))
    assert found["ExecStart"] == f"{sys.executable} -m onboard run"
    expected = {
        "Type": "notify",
        "NotifyAccess": "main",
        "WatchdogSec": "20",
        "Restart": "always",
        "RestartSec": "2",
        "StartLimitIntervalSec": "0",
        "TimeoutStopSec": "5",
        "ExecReload": "/bin/kill -HUP $MAINPID",
        "User": "skipper",
        "SupplementaryGroups": "dialout",
        "WantedBy": "multi-user.target",
    }
    assert {key: found.get(key) for key in expected} == expected
    for hidden in ("PrivateDevices", "PrivateTmp", "ProtectHome", "DevicePolicy"):
        assert hidden not in found


def test_a_users_unit_has_no_system_only_settings() -> None:
    found = settings(unit_text(Plan(False, COMMAND, user="skipper", group="dialout")))
    assert found["WantedBy"] == "default.target"
    refused = ("User", "SupplementaryGroups", "ProtectSystem", "OOMScoreAdjust", "After")
    assert not set(refused) & set(found)


def test_a_record_in_a_guarded_folder_is_an_exception() -> None:
    plan = Plan(True, COMMAND, record=Path("/usr/local/share/rides"))
    assert "ReadWritePaths=-/usr/local/share/rides" in unit_text(plan)
    assert "ReadWritePaths" not in unit_text(Plan(True, COMMAND, record=Path("/home/s/rides")))


def test_odd_paths_are_quoted_for_systemd() -> None:
    plan = Plan(False, ("/opt/my craft/bin/onboard", "--profile", '/a/50%$x"y\\.toml'))
    assert settings(unit_text(plan))["ExecStart"] == (
        '"/opt/my craft/bin/onboard" --profile "/a/50%%$$x\\"y\\\\.toml"'
    )
    with pytest.raises(UsageError, match="control characters"):
        unit_text(Plan(False, ("/opt/a\nUser=root",)))


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd-analyze here")
@pytest.mark.parametrize("system", [True, False])
def test_systemd_accepts_it(tmp_path: Path, system: bool) -> None:
    program = tmp_path / "my craft 100%" / "wattwake-onboard"
    program.parent.mkdir()
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    profile = parse_profile("[link]\nconnection = '/dev/null'\n[record]\ndirectory = '/usr/x y'")
    path = tmp_path / "craft $1.toml"
    path.write_text("")
    plan = plan_unit(system, profile, path)
    plan = Plan(system, (str(program), *plan.command[1:]), plan.folder, plan.record, "root", "tty")
    unit = tmp_path / "wattwake.service"

    def verdict(text: str) -> tuple[int, str]:
        unit.write_text(text)
        ended = subprocess.run(
            ["systemd-analyze", "verify", "--man=no", *([] if system else ["--user"]), str(unit)],
            capture_output=True,
            text=True,
            env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)},
            check=False,
        )
        complaints = [line for line in ended.stderr.splitlines() if "wattwake" in line]
        return ended.returncode, "\n".join(complaints)

    text = unit_text(plan)
    assert verdict(text) == (0, "")
    # The check works: an unknown key is found.
    code, complaints = verdict(text.replace("RestartSec", "RestSec"))
    assert code != 0 or "RestSec" in complaints


def test_the_command_is_the_program_beside_this_interpreter(tmp_path: Path, monkeypatch) -> None:
    interpreter = tmp_path / "python3"
    interpreter.symlink_to(sys.executable)
    monkeypatch.setattr(sys, "executable", str(interpreter))
    command, folder = daemon_command()
    assert command == (str(interpreter), "-m", "onboard", "run")
    assert folder is not None
    assert (folder / "onboard" / "__main__.py").exists()
    script = tmp_path / "wattwake-onboard"
    script.write_text("")
    script.chmod(0o755)
    assert daemon_command() == ((str(script), "run"), None)


def test_the_plan_follows_the_device_and_the_caller(tmp_path: Path, monkeypatch) -> None:
    device = tmp_path / "ttyX"
    device.write_text("")
    profile = parse_profile(f"[link]\nconnection = '{device}'\n[record]\ndirectory = '~/rides'")
    monkeypatch.setenv("SUDO_USER", "skipper")
    monkeypatch.setenv("HOME", "/home/skipper")
    monkeypatch.setattr(Path, "group", lambda self: "boats" if self == device else "other")
    plan = plan_unit(True, profile, Path("craft.toml"))
    assert (plan.group, plan.user) == ("boats", "skipper")
    assert plan.record == Path("/home/skipper/rides")
    assert plan.command[-2:] == ("--profile", str(Path.cwd() / "craft.toml"))
    assert plan_unit(False, profile, None).user is None
    assert plan_unit(True, Profile(), None).group is None


def test_a_device_that_is_not_plugged_in_has_the_usual_group(monkeypatch) -> None:
    profile = parse_profile("[link]\nconnection = '/dev/nosuch'")
    known = {"dialout"}

    def getgrnam(name: str):
        if name not in known:
            raise KeyError(name)
        return grp.struct_group((name, "x", 20, []))

    monkeypatch.setattr(service_unit.grp, "getgrnam", getgrnam)
    assert plan_unit(True, profile, None).group == "dialout"
    known.clear()
    assert plan_unit(True, profile, None).group is None


def test_a_unit_is_replaced_only_on_demand(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "wattwake.service"
    text = unit_text(Plan(False, COMMAND))
    assert install(text, path, False) == f"wrote {path}"
    assert path.read_text() == text
    assert path.stat().st_mode & 0o777 == 0o644
    assert "already" in install(text, path, False)
    other = text.replace("RestartSec=2", "RestartSec=9").replace("always", "no")
    path.write_text(other)
    with pytest.raises(UsageError, match=r'"Restart=no", would be "Restart=always" \(and 1 more'):
        install(text, path, False)
    assert path.read_text() == other
    assert install(text, path, True) == f"replaced {path}"
    assert path.read_text() == text
    assert list(path.parent.iterdir()) == [path]


def test_an_unwritable_folder_is_a_one_line_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(UsageError, match="cannot be written"):
        install("x", tmp_path / "file" / "wattwake.service", False)
    binary = tmp_path / "wattwake.service"
    binary.write_bytes(b"\xff\xfe\xff")
    with pytest.raises(UsageError, match="no text"):
        install("x", binary, False)


def test_difference_in_line_ends_only() -> None:
    assert difference("a\r\nb", "a\nb") == "in its line ends"


def test_where_units_belong(monkeypatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", "/home/s/.conf")
    assert unit_path(False) == Path("/home/s/.conf/systemd/user/wattwake.service")
    monkeypatch.delenv("XDG_CONFIG_HOME")
    monkeypatch.setenv("HOME", "/home/s")
    assert unit_path(False) == Path("/home/s/.config/systemd/user/wattwake.service")
    assert unit_path(True) == Path("/etc/systemd/system/wattwake.service")


def test_the_steps_that_follow(monkeypatch) -> None:
    system = [command for command, _ in next_steps(Plan(True, COMMAND))]
    assert "sudo systemctl daemon-reload" in system
    assert "sudo systemctl enable --now wattwake" in system
    assert not any("linger" in command for command in system)
    monkeypatch.setattr(service_unit, "_in_group", lambda name: False)
    user = [command for command, _ in next_steps(Plan(False, COMMAND, group="boats"))]
    assert user[0].startswith("sudo usermod -aG boats ")
    assert "loginctl enable-linger" in user


def test_the_command_prints_or_writes(tmp_path: Path, monkeypatch, capsys) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    profile = tmp_path / "craft.toml"
    profile.write_text("[craft]\nname = 'skiff'\n")
    given = ["install-service", "--user", "--profile", str(profile)]
    assert main([*given, "--print"]) == 0
    printed = capsys.readouterr().out
    assert "Type=notify" in printed
    assert str(profile) in printed
    assert not (tmp_path / "systemd").exists()
    assert main(given) == 0
    said = capsys.readouterr().out
    assert unit_path(False).read_text() == printed
    assert "systemctl --user enable --now wattwake" in said
    assert max(map(len, said.splitlines())) <= 80 + len(str(tmp_path))
    unit_path(False).write_text("[Service]\n")
    assert main(given) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "--replace" in line
    assert main([*given, "--replace"]) == 0
    assert main(["install-service", "--profile", "/nosuch.toml"]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
