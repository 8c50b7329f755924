"""The season's cache: whatever happens to the file, no figure is lost or invented."""

import errno
import fcntl
import json
import os
import stat
import tempfile
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from groundside.command_line import main
from groundside.reports.sessions import season_cache
from groundside.reports.sessions.season import read_season
from groundside.reports.sessions.season_cache import (
    FILE_NAME,
    SCHEMA,
    CachedRow,
    SeasonCache,
    cache_path,
    is_writable,
)
from groundside.studies.rides import Share, Sums
from onboard.contract.figure import Figure, Unknown, throughout
from onboard.contract.reasons import Reason
from tests.groundside.reports.sessions.made_sessions import (
    DAY_US,
    START_US,
    listed,
    log_bytes,
    no_reading,
    session,
)


def silent(sentence: str) -> None:
    raise AssertionError(sentence)


finite = st.floats(allow_nan=False, allow_infinity=False)
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
maybe = st.none() | finite
unknown = st.builds(Unknown, st.sampled_from([Reason.NO_GPS, Reason.NO_FIX])) | st.builds(
    partial(Unknown, Reason.SPEED_QUIET),
    source=st.sampled_from(["", "GPS receiver"]),
    age_s=finite,
)
number = finite | unknown
figures = st.builds(Figure, finite) | st.builds(Figure, finite, finite, finite) | unknown
sums = st.builds(
    Sums,
    start_utc=unknown | st.sampled_from(["2025-06-15T15:06:40.0Z", "long ago"]),
    distance_m=figures,
    energy_wh=figures,
    wh_per_km=figures,
    shares=st.lists(st.builds(Share, texts, maybe, maybe), max_size=3).map(tuple),
    **dict.fromkeys(
        (
            "duration_s",
            "elapsed_s",
            "moving_s",
            "mean_speed_mps",
            "max_speed_mps",
            "mean_power_w",
        ),
        number,
    ),
)
rows = st.lists(
    st.builds(CachedRow, st.sampled_from("abc") | texts, texts, texts, texts, sums),
    max_size=4,
    unique_by=lambda row: row.name,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(rows, rows)
@pytest.mark.slow
def test_rows_are_read_back_unchanged(tmp_path: Path, first, then) -> None:
    (tmp_path / "s").unlink(missing_ok=True)
    cache = SeasonCache(tmp_path / "s", silent)
    cache.update(first, [], {})
    assert SeasonCache(tmp_path / "s", silent).rows() == {row.name: row for row in first}
    gone = [row.name for row in first[:1]]
    cache.update(then, gone, {})
    wanted = {row.name: row for row in first[1:]} | {row.name: row for row in then}
    assert cache.rows() == wanted
    cache.clear()
    assert cache.rows() == {}


def test_a_replaced_row_keeps_nothing_of_the_old(tmp_path: Path) -> None:
    none = Unknown(Reason.NO_GPS)
    both = (Share("A", 1000.0, 50.0), Share("B", 400.0, 25.0))
    ride = CachedRow("a", "1", "", "", throughout(Sums)(none))
    before = replace(ride, sums=replace(ride.sums, shares=both))
    after = replace(ride, sums=replace(ride.sums, shares=both[:1]))
    cache = SeasonCache(tmp_path / "s", silent)
    cache.update([before], [], {})
    cache.update([after], [], {})
    assert cache.rows() == {"a": after}


made = st.lists(
    st.fixed_dictionaries(
        {
            "seconds": st.integers(5, 60),
            "amps": st.floats(0.0, 30.0),
            "speed": st.floats(0.0, 4.0),
            "named": st.lists(
                st.tuples(st.floats(0.0, 60.0), st.sampled_from(["A", "B"])), max_size=2
            ),
        }
    ),
    min_size=1,
    max_size=3,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=10)
@given(made)
@pytest.mark.slow
def test_a_rebuilt_cache_is_equal(tmp_path_factory, rides) -> None:
    tmp_path = tmp_path_factory.mktemp("season")
    for number, one in enumerate(rides):
        session(tmp_path, START_US + number * DAY_US, number=number + 1, **one)

    def season(*, rebuild: bool):
        return read_season(tmp_path, None, rebuild=rebuild, now_s=2e9, warn=silent)

    first = season(rebuild=False)
    kept = SeasonCache(tmp_path / FILE_NAME, silent).rows()
    assert len(kept) == len(rides)
    assert season(rebuild=False) == first
    (tmp_path / FILE_NAME).unlink()
    assert season(rebuild=False) == first
    assert SeasonCache(tmp_path / FILE_NAME, silent).rows() == kept
    assert season(rebuild=True) == first
    assert SeasonCache(tmp_path / FILE_NAME, silent).rows() == kept


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:500])


def noise(path: Path) -> None:
    path.write_bytes(bytes(range(256)) * 40)


def block_gone(path: Path) -> None:
    whole = bytearray(path.read_bytes())
    whole[256:512] = bytes(256)
    path.write_bytes(whole)


def change(path: Path, edit: Callable[[dict[str, Any]], None]) -> None:
    stated = json.loads(path.read_text())
    edit(stated)
    path.write_text(json.dumps(stated))


def of_schema(schema: int, path: Path) -> None:
    change(path, lambda stated: stated.update(schema=schema))


older = partial(of_schema, SCHEMA - 1)
newer = partial(of_schema, SCHEMA + 1)


def with_texts(path: Path) -> None:
    """Make it look like an earlier version, with sentences for reasons."""
    change_ride(path, lambda ride: ride["sums"].update(why={"wh_per_km": "hardly moved yet"}))
    older(path)


def change_ride(path: Path, edit: Callable[[dict[str, Any]], None]) -> None:
    change(path, lambda stated: edit(stated["rides"][0]))


def without_a_figure(path: Path) -> None:
    change_ride(path, lambda ride: ride["sums"].pop("energy_wh"))


def something_else(path: Path) -> None:
    path.write_text('{"recipes": [{"name": "soup"}]}')


@pytest.mark.parametrize(
    "damage", [cut, noise, block_gone, older, with_texts, newer, without_a_figure, something_else]
)
def test_a_bad_cache_is_put_aside_with_one_line(damage, capsys, tmp_path, monkeypatch) -> None:
    session(tmp_path, named=[(0, "B")])
    first = listed(capsys, tmp_path)
    cache = tmp_path / FILE_NAME
    damage(cache)
    bad = cache.read_bytes()
    assert main(["sessions", str(tmp_path)]) == 0
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert f"{cache} is " in err
    assert "made anew from the records" in err
    # It may be somebody else's, so it is not deleted.
    assert (tmp_path / f"{FILE_NAME}.old").read_bytes() == bad
    no_reading(monkeypatch)
    assert listed(capsys, tmp_path) == first


BAD_ROWS: list[Callable[[dict[str, Any]], None]] = [
    lambda ride: ride["sums"].update(energy_wh={"value": "soup", "low": [0], "high": None}),
    lambda ride: ride["sums"].update(why="["),
    lambda ride: ride["sums"].update(why=[]),
    lambda ride: ride.update(name=[255]),
    lambda ride: (ride["sums"].update(start_utc=5.0), ride.update(stamp=7, profile=8))[0],
    lambda ride: ride["sums"].update(shares=[{"setup": "soup"}]),
    lambda ride: ride["sums"].update(shares=5),
]


@pytest.mark.parametrize("number", range(len(BAD_ROWS)))
def test_invalid_rows_are_read_again(number: int, capsys, tmp_path: Path) -> None:
    session(tmp_path)
    first = listed(capsys, tmp_path)
    change_ride(tmp_path / FILE_NAME, BAD_ROWS[number])
    found = listed(capsys, tmp_path)
    if number == 0:
        assert found["sessions"][0]["energy_wh"] is None
        assert found["sessions"][0]["why"]["energy_wh"] == {"code": "not_stated"}
        found = listed(capsys, tmp_path, "--rebuild")
    assert found == first


def test_beside_an_unwritable_folder_the_user_s_cache_is_used(
    capsys, tmp_path: Path, monkeypatch
) -> None:
    season, cache = tmp_path / "season", tmp_path / "cache"
    session(season)
    monkeypatch.setenv("XDG_CACHE_HOME", str(cache))
    monkeypatch.setattr(
        season_cache, "is_writable", lambda path: path != season and is_writable(path)
    )
    first = listed(capsys, season)
    assert not (season / FILE_NAME).exists()
    (file,) = cache.rglob("*.json")
    assert file == cache_path(season)
    no_reading(monkeypatch)
    assert listed(capsys, season) == first
    # Each folder has its own.
    monkeypatch.setattr(season_cache, "is_writable", lambda path: False)
    assert cache_path(tmp_path) != cache_path(season)
    monkeypatch.setenv("XDG_CACHE_HOME", "not/absolute")
    assert cache_path(season).is_absolute()


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become somebody without rights")
@pytest.mark.slow
def test_a_read_only_folder(capsys, tmp_path: Path, monkeypatch) -> None:
    season, cache = tmp_path / "season", tmp_path / "cache"
    session(season)
    cache.mkdir()
    os.chown(cache, 65534, 65534)
    temporary = Path(tempfile.gettempdir()).resolve()
    for folder in (season, *season.iterdir(), *season.resolve().parents):
        if temporary in folder.resolve().parents:
            folder.chmod(folder.stat().st_mode | 0o055)
    for file in season.rglob("*.*"):
        file.chmod(file.stat().st_mode | 0o044)
    tmp_path.chmod(0o755)
    monkeypatch.setenv("XDG_CACHE_HOME", str(cache))
    os.seteuid(65534)
    try:
        first = listed(capsys, season)
        again = listed(capsys, season)
    finally:
        os.seteuid(0)
    assert first == again
    assert len(first["sessions"]) == 1
    assert not (season / FILE_NAME).exists()
    assert len(list(cache.rglob("*.json"))) == 1


def test_without_any_usable_cache_one_line_is_printed(capsys, tmp_path: Path, monkeypatch) -> None:
    session(tmp_path)
    first = listed(capsys, tmp_path)
    (tmp_path / FILE_NAME).unlink()
    (tmp_path / FILE_NAME).mkdir()
    assert main(["sessions", str(tmp_path), "--json"]) == 0
    out, err = capsys.readouterr()
    assert err.count("\n") == 1
    assert "going on without it" in err
    assert json.loads(out) == first


def test_a_full_disk_prevents_nothing(capsys, tmp_path: Path, monkeypatch) -> None:
    session(tmp_path)
    first = listed(capsys, tmp_path)

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(season_cache, "write_whole", full)
    (tmp_path / "plain.tlog").write_bytes(log_bytes(start_us=START_US - DAY_US))
    assert main(["sessions", str(tmp_path)]) == 0
    out, err = capsys.readouterr()
    assert "2 sessions" in out
    assert err.count("\n") == 1
    assert os.strerror(errno.ENOSPC) in err
    monkeypatch.undo()
    assert listed(capsys, tmp_path)["sessions"][0] == first["sessions"][0]


def test_the_cache_is_private(capsys, tmp_path: Path) -> None:
    session(tmp_path)
    listed(capsys, tmp_path)
    assert stat.S_IMODE((tmp_path / FILE_NAME).stat().st_mode) == 0o600


def test_a_foreign_lock_on_the_file_is_not_waited_for(capsys, tmp_path: Path) -> None:
    session(tmp_path)
    first = listed(capsys, tmp_path)
    session(tmp_path, START_US + DAY_US, number=2)
    with (tmp_path / FILE_NAME).open() as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        both = listed(capsys, tmp_path)
    assert both["sessions"][1] == first["sessions"][0]
    assert listed(capsys, tmp_path) == both


def test_another_process_s_lock_is_not_waited_for_long(capsys, tmp_path: Path, monkeypatch) -> None:
    session(tmp_path)
    first = listed(capsys, tmp_path)
    monkeypatch.setattr(season_cache, "BUSY_S", 0.05)
    folder = os.open(tmp_path, os.O_RDONLY)
    fcntl.flock(folder, fcntl.LOCK_EX)
    assert main(["sessions", str(tmp_path), "--json"]) == 0
    out, err = capsys.readouterr()
    assert "another program keeps it locked" in err
    assert err.count("\n") == 1
    assert json.loads(out) == first
    os.close(folder)
    no_reading(monkeypatch)
    assert listed(capsys, tmp_path) == first
