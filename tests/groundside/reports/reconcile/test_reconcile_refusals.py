"""Input that `reconcile` refuses, in one line each."""

from pathlib import Path

import pytest

from groundside.command_line import main
from onboard.profile import Profile
from tests.groundside.reports.reconcile.made_rides import PACK_AH, POWERS, made_ride, profile_text
from tests.groundside.reports.run_command import refusal

LOGS = Path(__file__).parents[4] / "replay_logs"
LOG, CRAFT = str(LOGS / "harbour_loop.tlog"), str(LOGS / "harbour_loop.toml")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ((), "name the logs"),
        ((LOG,), "--charged-wh or --charged-ah"),
        ((LOG, "--charged-wh", "-5"), "--charged-wh"),
        ((LOG, "--charged-wh", "nan"), "--charged-wh"),
        ((LOG, "--charged-wh", "80", "--meter", "wall"), "--meter"),
        ((LOG, "--charged-ah", "2", "--meter", "ac"), "ampere-hours"),
        ((LOG, LOG, "--charged-wh", "80"), "given twice"),
        ((LOG, "--charged-wh", "80", "--sheet", "sheet.toml"), "--sheet"),
        (("--sheet", "/nowhere.toml"), "/nowhere.toml"),
        (("/nowhere.tlog", "--charged-wh", "80"), "/nowhere.tlog"),
        ((CRAFT, "--charged-wh", "80"), "harbour_loop.toml"),
        ((LOG, "--charged-wh", "80", "--profile", "/nowhere"), "/nowhere"),
        ((LOG, "--charged-wh", "80", "--system-id", "9"), "no battery power"),
    ],
)
def test_wrong_input_is_reported_in_one_line(options: tuple[str, ...], says: str, capsys) -> None:
    assert says in refusal(capsys, "reconcile", *options)


def test_a_log_without_any_drain_is_refused(capsys, tmp_path) -> None:
    (tmp_path / "craft.toml").write_text("[sensors]\ncurrent_offset_a = -40.0\n")
    given = (LOG, "--charged-wh", "80", "--profile", str(tmp_path / "craft.toml"))
    assert main(["reconcile", *given]) == 2
    assert "nothing was drawn" in capsys.readouterr().err
    assert Profile().sensors.current_offset_a == 0.0


def test_differing_profiles_require_profile(capsys, tmp_path) -> None:
    folder = tmp_path
    for number, sensors in ((1, ""), (2, "current_offset_a = 0.35")):
        session = folder / f"s{number}"
        session.mkdir()
        (session / "telemetry.tlog").write_bytes(made_ride(*POWERS[number]).log)
        (session / "profile.toml").write_text(profile_text(PACK_AH, sensors))
    both = (str(folder / "s1"), str(folder / "s2"), "--charged-ah", "0.9")
    assert main(["reconcile", *both]) == 2
    assert "--profile" in capsys.readouterr().err
    assert main(["reconcile", *both, "--profile", str(folder / "s2" / "profile.toml")]) in (0, 1)
