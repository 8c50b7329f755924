"""The craft profile: every refusal names the key, what was given and what is allowed."""

import os
from pathlib import Path

import pytest

from onboard.errors import ProfileError
from onboard.profile import Profile, load_profile, parse_profile

PACK = "[battery]\nchemistry = 'lfp'\ncells = 8\ncapacity_ah = 36\n"


def test_an_empty_profile_has_defaults_and_no_battery() -> None:
    assert parse_profile("") == Profile()
    assert parse_profile("").battery is None


def test_a_full_profile() -> None:
    profile = parse_profile(
        PACK
        + "reserve_fraction = 0.25\n[craft]\nname = 'board'\n[sensors]\ncurrent_scale = 1.05\n"
        + "[drive]\npole_pairs = 7\n[units]\nspeed = 'kn'\n[link]\nbaud = 115200\nsystem_id = 3\n"
        + "[feed]\nlisten = '0.0.0.0:27220'\n[record]\ndirectory = '/tmp/rides'\n"
    )
    assert profile.battery.full_wh == pytest.approx(36 * 8 * 3.2)
    assert profile.battery.full_ah == 36
    by_energy = parse_profile(PACK.replace("capacity_ah = 36", "energy_wh = 921.6"))
    assert by_energy.battery.full_ah == pytest.approx(36)
    assert profile.sensors.current_scale == 1.05
    assert (profile.drive.pole_pairs, profile.link.baud, profile.units.speed) == (7, 115200, "kn")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[batery]\n", "batery: no such key: expected one of craft, battery"),
        ("[craft]\nnme = 'x'\n", "craft.nme: no such key: expected one of name"),
        (PACK.replace("8", "0"), "battery.cells = 0: expected a whole number from 1 to 32"),
        (PACK.replace("8", "8.5"), "battery.cells = 8.5: expected a whole number from 1 to 32"),
        (PACK.replace("8", "true"), "battery.cells = True: expected a whole number"),
        (PACK.replace("lfp", "nimh"), 'battery.chemistry = \'nimh\': expected "lfp" or "li-ion"'),
        (PACK.replace("36", "nan"), "battery.capacity_ah = nan: expected a number from 0.1"),
        (PACK + "reserve_fraction = 1\n", "battery.reserve_fraction = 1.0: expected a number"),
        (PACK + "start_fraction = 0.1\n", "battery.reserve_fraction = 0.2: expected less than"),
        ("[battery]\ncells = 8\n", "battery.chemistry: missing"),
        (PACK.replace("capacity_ah = 36\n", ""), "battery: expected capacity_ah or energy_wh"),
        ("battery = 3\n", "battery = 3: expected a table"),
        ("[units]\nspeed = 'warp'\n", "units.speed = 'warp': expected"),
        ("cells = = 3", "not valid TOML"),
        (
            PACK.replace("36", "1" * 5000),
            "not valid TOML: too long a number or too deep a list",
        ),
        ("a = " + "[" * 5000, "not valid TOML: too long a number or too deep a list"),
        (PACK.replace("36", "1" * 400), "battery.capacity_ah = inf: expected a number from 0.1"),
        (PACK.replace("36", "0x" + "f" * 5000), "battery.capacity_ah = inf: expected a number"),
        (
            PACK.replace("8", "0x" + "f" * 5000),
            "battery.cells = too long to show: expected a whole",
        ),
        (PACK.replace("36", "1e-300"), "battery.capacity_ah = 1e-300: expected a number from 0.1"),
        (PACK + "resistance_ohm = 1e-300\n", "battery.resistance_ohm = 1e-300: expected a number"),
        (
            PACK + "cutoff_v = 29.2\n",
            "battery.cutoff_v = 29.2: expected less than 29.2, the voltage of 8",
        ),
        ('[craft]\nname = "a\\u001b[31m"\n', "craft.name = 'a\\x1b[31m': expected up to 80"),
    ],
)
def test_refusals(text: str, message: str) -> None:
    with pytest.raises(ProfileError) as refusal:
        parse_profile(text)
    assert message in str(refusal.value)
    assert "\n" not in str(refusal.value)
    assert len(str(refusal.value)) < 250


def test_a_small_pack_is_possible() -> None:
    pack = PACK.replace("36", "0.5").replace("8", "1")
    assert parse_profile(pack + "resistance_ohm = 0.001\ncutoff_v = 2.8\n").battery.full_wh == 1.6


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="cannot be read"):
        load_profile(tmp_path / "none.toml")
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ProfileError, match="not a text file"):
        load_profile(tmp_path / "binary.toml")
    os.mkfifo(tmp_path / "pipe.toml")
    for path in (tmp_path / "pipe.toml", Path("/dev/zero")):
        with pytest.raises(ProfileError, match="not a regular file"):
            load_profile(path)
    (tmp_path / "large.toml").write_bytes(b"#" * ((1 << 20) + 1))
    with pytest.raises(ProfileError, match="more than 1048576 bytes"):
        load_profile(tmp_path / "large.toml")
    (tmp_path / "bad.toml").write_text("[craft]\nsize = 3\n")
    with pytest.raises(ProfileError, match=r"bad.toml: craft.size: no such key"):
        load_profile(tmp_path / "bad.toml")


def test_a_signing_key_is_checked_and_never_shown() -> None:
    key = "0f" * 32
    assert parse_profile(f"[link]\nsigning_key = '{key}'").link.signing_key == key
    for wrong in ("c0ffee", key[:-1] + "g", key + "0"):
        with pytest.raises(ProfileError, match=r"link\.signing_key: expected 64") as refused:
            parse_profile(f"[link]\nsigning_key = '{wrong}'")
        assert wrong not in str(refused.value)


def test_listen_only_is_true_or_false() -> None:
    assert parse_profile("[link]\nlisten_only = true").link.listen_only is True
    with pytest.raises(ProfileError, match=r"link\.listen_only = 1: expected true or false"):
        parse_profile("[link]\nlisten_only = 1")


def test_true_is_not_a_number() -> None:
    assert parse_profile("[sensors]\ncurrent_scale = 1\n").sensors.current_scale == 1.0
    with pytest.raises(ProfileError, match=r"sensors\.current_scale"):
        parse_profile("[sensors]\ncurrent_scale = true\n")
