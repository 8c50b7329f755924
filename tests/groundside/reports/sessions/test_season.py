"""The list equals the records, and each record is read once."""

import os
from pathlib import Path

import pytest

from groundside.command_line import main
from groundside.reports.review.summary import review
from groundside.reports.sessions import season as season_module
from groundside.reports.sessions.season_cache import FILE_NAME, SeasonCache
from onboard.contract.codec import plain
from onboard.profile import profile_for
from onboard.record.marks import MarkBook
from onboard.record.sessions import SessionNote, write_session
from tests.groundside.reports.sessions.made_sessions import (
    DAY_US,
    START_US,
    listed,
    log_bytes,
    name_setup,
    names,
    no_reading,
    rested,
    session,
)
from tests.small_streams import Sender, records

LOGS = Path(__file__).parents[4] / "replay_logs"


def test_a_session_s_figures_are_its_review_s(capsys, tmp_path: Path) -> None:
    folder = session(tmp_path, profile="[sensors]\ncurrent_scale = 1.1\n")
    (one,) = listed(capsys, tmp_path)["sessions"]
    result = review(folder, profile_for(None, folder))
    assert one["path"] == str(folder)
    trip = plain(result.trip)
    for key in ("distance_m", "energy_wh", "wh_per_km", "mean_power_w", "max_speed_mps"):
        assert one[key] == trip[key]
        assert one[key] is not None
    assert one["start_utc"] == result.log.start_utc == "2025-06-15T15:06:40.0Z"
    assert one["duration_s"] == result.log.duration_s
    # 50 V, 1.1 x 10 A, 2 m/s.
    assert one["wh_per_km"]["value"] == pytest.approx(550 / 3.6 / 2, rel=0.01)
    assert "why" not in one


def test_an_unknown_value_is_null_with_its_reason(capsys, tmp_path: Path) -> None:
    session(tmp_path, speed=0.0)
    for _ in range(2):  # read, then stored
        (one,) = listed(capsys, tmp_path)["sessions"]
        assert one["wh_per_km"] is None
        assert one["why"]["wh_per_km"] == {"code": "hardly_moved"}


def test_a_reason_is_cached_with_its_values(capsys, tmp_path: Path, monkeypatch) -> None:
    sender = Sender()
    frames = [frame for n in range(60) for frame in sender.second(n, 50.0, 8.0, 2.0)]
    frames += [sender.attitude(61 + n) for n in range(40)]
    (tmp_path / "silent.tlog").write_bytes(records(frames, START_US))
    (tmp_path / "undated.tlog").write_bytes(records(frames[:300], 4_000_000))
    first = listed(capsys, tmp_path)
    no_reading(monkeypatch)
    assert listed(capsys, tmp_path) == first
    silent, undated = first["sessions"]
    assert silent["why"]["mean_power_w"]["code"] == "source_unheard"
    assert silent["why"]["mean_power_w"]["source"] == "power monitor"
    assert silent["why"]["mean_power_w"]["age_s"] == pytest.approx(39.5, abs=1.0)
    assert undated["start_utc"] is None
    assert undated["why"]["start_utc"] == {"code": "no_date"}


@pytest.mark.slow
def test_plain_logs_of_both_kinds_count_as_rides(capsys, tmp_path: Path) -> None:
    from tests.craft.onboard_log import onboard_log_bytes
    from tests.craft.recording import record
    from tests.craft.scenarios import SCENARIOS

    (tmp_path / "anchor.bin").write_bytes(onboard_log_bytes(record(SCENARIOS["at_anchor"])))
    (tmp_path / "sprints.TLOG").write_bytes((LOGS / "board_sprints.tlog").read_bytes())
    (tmp_path / "notes.txt").write_text("no log at all")
    (tmp_path / "learned.json").write_text("{}")
    (tmp_path / ".hidden.tlog").write_bytes(log_bytes())
    session(tmp_path)
    found = listed(capsys, tmp_path)
    assert names(found) == ["sprints.TLOG", "anchor.bin", "2025-06-15T15-06-40Z"]
    energies = [one["energy_wh"]["value"] for one in found["sessions"]]
    # The simulation's truth, without sensors: replay_logs/*.truth.json.
    assert energies[:2] == [pytest.approx(37.476, rel=0.03), pytest.approx(1.167, abs=0.15)]


def test_a_second_call_reads_no_record(capsys, tmp_path: Path, monkeypatch) -> None:
    session(tmp_path, named=[(0, "A"), (31, "B")])
    session(tmp_path, START_US + DAY_US, number=2)
    (tmp_path / "plain.tlog").write_bytes(log_bytes(start_us=START_US - DAY_US))
    first = listed(capsys, tmp_path)
    no_reading(monkeypatch)
    assert listed(capsys, tmp_path) == first
    with pytest.raises(AssertionError, match="a record was read"):
        main(["sessions", str(tmp_path), "--rebuild"])


def test_only_what_changed_is_read_again(capsys, tmp_path: Path, monkeypatch) -> None:
    a = session(tmp_path)
    b = session(tmp_path, START_US + DAY_US, number=2)
    before = listed(capsys, tmp_path)
    read: list[Path] = []
    review_logs = season_module.review_logs

    def counted(paths, *rest):
        read.extend(paths)
        return review_logs(paths, *rest)

    monkeypatch.setattr(season_module, "review_logs", counted)
    with (b / "telemetry.tlog").open("wb") as file:
        file.write(log_bytes(90, start_us=START_US + DAY_US))
    found = listed(capsys, tmp_path)
    assert read == [b]
    assert found["sessions"][0]["distance_m"]["value"] == pytest.approx(178, abs=3)
    assert found["sessions"][1] == before["sessions"][1]
    # Same size but other contents: the time of modification differs.
    (a / "telemetry.tlog").write_bytes(log_bytes(amps=5.0))
    os.utime(a / "telemetry.tlog", ns=(1, 1))
    energy = listed(capsys, tmp_path)["sessions"][1]["energy_wh"]["value"]
    assert energy == pytest.approx(before["sessions"][1]["energy_wh"]["value"] / 2, rel=0.01)
    assert read == [b, a]


def test_a_record_in_several_files_counts_as_one(capsys, tmp_path: Path) -> None:
    folder = session(tmp_path)
    whole = listed(capsys, tmp_path)["sessions"]
    log = (folder / "telemetry.tlog").read_bytes()
    for name, part in (("", log[:5000]), ("-2", log[5000:9000])):
        (folder / f"telemetry{name}.tlog").write_bytes(part)
    assert listed(capsys, tmp_path)["sessions"][0]["distance_m"] != whole[0]["distance_m"]
    # The third file comes later, and the first may be gone.
    (folder / "telemetry-3.tlog").write_bytes(log[9000:])
    assert listed(capsys, tmp_path)["sessions"] == whole
    (folder / "telemetry.tlog").unlink()
    (ride,) = listed(capsys, tmp_path)["sessions"]
    assert 0 < ride["distance_m"]["value"] < whole[0]["distance_m"]["value"]


@pytest.mark.parametrize("what", ["marks", "profile", "given profile"])
def test_changes_beside_a_record_read_it_again(what: str, capsys, tmp_path: Path) -> None:
    folder = session(tmp_path / "season")
    options: tuple[str, ...] = ()
    before = listed(capsys, tmp_path / "season")["sessions"][0]
    if what == "marks":
        name_setup(MarkBook(folder), START_US, 0, "B")
        after = listed(capsys, tmp_path / "season")["sessions"][0]
        assert [one["setup"] for one in before["setups"]] == ["as is"]
        assert [one["setup"] for one in after["setups"]] == ["B"]
        return
    twice = folder / "profile.toml" if what == "profile" else tmp_path / "craft.toml"
    twice.write_text("[sensors]\ncurrent_scale = 2.0\n")
    if what == "given profile":
        options = ("--profile", str(twice))
    after = listed(capsys, tmp_path / "season", *options)["sessions"][0]
    energies = [one["energy_wh"]["value"] for one in (before, after)]
    assert energies[1] == pytest.approx(2 * energies[0])


def test_units_in_a_profile_do_not_invalidate_the_cache(
    capsys, tmp_path: Path, monkeypatch
) -> None:
    folder = session(tmp_path, profile="[units]\nspeed = 'kn'\n")
    assert main(["sessions", str(tmp_path)]) == 0
    assert " Wh/NM" in capsys.readouterr().out
    (folder / "profile.toml").write_text("[units]\nspeed = 'm/s'\n[record]\ndirectory = '/x'\n")
    no_reading(monkeypatch)
    assert main(["sessions", str(tmp_path)]) == 0
    assert " Wh/km" in capsys.readouterr().out


def test_another_version_reads_again(capsys, tmp_path: Path, monkeypatch) -> None:
    session(tmp_path)
    listed(capsys, tmp_path)
    monkeypatch.setattr(season_module, "__version__", "0.0.0")
    no_reading(monkeypatch)
    with pytest.raises(AssertionError, match="a record was read"):
        main(["sessions", str(tmp_path)])


def test_a_deleted_session_is_dropped(capsys, tmp_path: Path) -> None:
    a = session(tmp_path)
    session(tmp_path, START_US + DAY_US, number=2)
    assert len(names(listed(capsys, tmp_path))) == 2
    a.rename(tmp_path.parent / "elsewhere")
    assert len(names(listed(capsys, tmp_path))) == 1
    assert list(SeasonCache(tmp_path / FILE_NAME, print).rows()) == ["2025-06-16T15-06-40Z"]
    (tmp_path.parent / "elsewhere").rename(a)
    (a / "telemetry.tlog").write_bytes(log_bytes(30))
    found = listed(capsys, tmp_path)
    assert found["sessions"][1]["duration_s"] == pytest.approx(30, abs=1)


def test_a_session_being_written_is_open_and_not_cached(capsys, tmp_path: Path) -> None:
    folder = session(tmp_path, closed=False)
    before = listed(capsys, tmp_path)["sessions"][0]
    assert before["is_open"] is True
    # The daemon keeps writing, which is noticed even if neither size nor time changed.
    record = folder / "telemetry.tlog"
    stamp = record.stat()
    record.write_bytes(log_bytes(amps=5.0))
    os.utime(record, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    after = listed(capsys, tmp_path)["sessions"][0]
    assert after["energy_wh"]["value"] == pytest.approx(before["energy_wh"]["value"] / 2, rel=0.01)
    assert main(["sessions", str(tmp_path)]) == 0
    assert "not closed: it goes on, or was cut off; read up to now" in capsys.readouterr().out
    write_session(folder, SessionNote(1, closed=True))
    assert listed(capsys, tmp_path)["sessions"][0]["is_open"] is False


def test_only_the_newest_can_be_open(capsys, tmp_path: Path) -> None:
    for n in range(3):
        session(tmp_path, START_US + n * DAY_US, number=n + 1, closed=False)
    found = listed(capsys, tmp_path)["sessions"]
    assert [one["is_open"] for one in found] == [True, False, False]


def test_a_session_cut_off_long_ago_is_cached(capsys, tmp_path: Path, monkeypatch) -> None:
    rested(session(tmp_path, closed=False) / "telemetry.tlog")
    before = listed(capsys, tmp_path)
    no_reading(monkeypatch)
    assert listed(capsys, tmp_path) == before
    assert before["sessions"][0]["is_open"] is True


def test_a_record_that_grows_while_it_is_read_is_not_cached(
    capsys, tmp_path: Path, monkeypatch
) -> None:
    (tmp_path / "copied.tlog").write_bytes(log_bytes(30))
    review_logs = season_module.review_logs

    def slow(paths, *rest):
        read = review_logs(paths, *rest)
        (tmp_path / "copied.tlog").write_bytes(log_bytes(60))
        return read

    with monkeypatch.context() as patch:
        patch.setattr(season_module, "review_logs", slow)
        listed(capsys, tmp_path)
    assert listed(capsys, tmp_path)["sessions"][0]["duration_s"] == pytest.approx(60, abs=1)


def test_an_unreadable_record_is_listed_with_its_problem(capsys, tmp_path: Path) -> None:
    session(tmp_path)
    empty = session(tmp_path, START_US + DAY_US, number=2)
    (empty / "telemetry.tlog").write_bytes(b"")
    (tmp_path / "noise.tlog").write_bytes(bytes(5000))
    broken = session(tmp_path, START_US + 2 * DAY_US, number=3, profile="[battery]\nmade_up = 0\n")
    found = listed(capsys, tmp_path)
    problems = {one["name"]: one["problem"] for one in found["sessions"]}
    assert problems["2025-06-15T15-06-40Z"] is None
    assert "the file is empty" in problems[empty.name]
    assert "no MAVLink frame" in problems["noise.tlog"]
    assert "battery.made_up: no such key" in problems[broken.name]
    assert found["sessions"][-1]["energy_wh"] is None
    assert found["sessions"][-1]["why"]["energy_wh"] == {"code": "not_read"}
    assert found["totals"]["sessions_in_ratio"] == 1
    assert main(["sessions", str(tmp_path)]) == 0
    out, err = capsys.readouterr()
    assert "noise.tlog: " in out
    assert err == ""
    (empty / "telemetry.tlog").write_bytes(log_bytes(start_us=START_US + DAY_US))
    assert names(listed(capsys, tmp_path))[0] == empty.name


def test_undecodable_names_are_listed(capsys, tmp_path: Path, monkeypatch) -> None:
    name = os.fsdecode(b"ride \xff\x1b[2J.tlog")
    (tmp_path / name).write_bytes(log_bytes(30))
    before = listed(capsys, tmp_path)
    no_reading(monkeypatch)
    assert listed(capsys, tmp_path) == before
    assert main(["sessions", str(tmp_path)]) == 0
    assert "\x1b" not in capsys.readouterr().out
