"""A ride divided among its set-ups."""

import itertools
import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundside.command_line import main
from groundside.reports.sessions.setup_shares import ASHORE_M, merged_shares
from groundside.studies.rides import Share
from onboard.record.marks import MarkBook
from onboard.record.sessions import SessionNote, read_session, session_name, write_session
from tests.groundside.reports.sessions.made_sessions import (
    DAY_US,
    START_US,
    STEP_US,
    listed,
    name_setup,
    session,
)
from tests.small_streams import Sender, records

LOGS = Path(__file__).parents[4] / "replay_logs"


def shares(found: dict, number: int = 0) -> list[tuple[str, int]]:
    setups = found["sessions"][number]["setups"]
    return [(one["setup"], round(one["distance_m"], -1)) for one in setups]


def test_a_ride_is_divided_at_changes_of_set_up(capsys, tmp_path: Path) -> None:
    session(tmp_path, named=[(40, "two blades"), (100, "three blades")], seconds=150)
    found = listed(capsys, tmp_path)
    assert shares(found) == [("as is", 80), ("two blades", 120), ("three blades", 100)]
    one = found["sessions"][0]
    for key in ("energy_wh", "distance_m"):
        assert math.fsum(part[key] for part in one["setups"]) == pytest.approx(one[key]["value"])


def test_a_set_up_selected_ashore_gets_the_whole_ride(capsys, tmp_path: Path) -> None:
    session(tmp_path, named=[(3, "B"), (5, "C"), (59, "D")])
    assert shares(listed(capsys, tmp_path)) == [("C", 120)]


def test_a_continued_trip_keeps_its_set_up(capsys, tmp_path: Path) -> None:
    first = session(tmp_path, named=[(0, "B")])
    second = session(tmp_path, START_US + DAY_US, number=2, continues=first.name)
    session(tmp_path, START_US + 2 * DAY_US, number=3, continues=second.name)
    session(tmp_path, START_US + 3 * DAY_US, number=4)
    found = listed(capsys, tmp_path)
    assert [shares(found, n)[0][0] for n in range(4)] == ["as is", "B", "B", "B"]
    # The set-up in force is found later, from the marks of the first session.
    name_setup(MarkBook(first), START_US, 1, "A")
    found = listed(capsys, tmp_path)
    assert [shares(found, n)[0][0] for n in range(4)] == ["as is", "A", "A", "A"]


@pytest.mark.parametrize(("boot_s", "setup"), [(61, "B"), (3, "as is")])
def test_an_undecided_trip_is_settled_by_the_autopilot_s_clocks(
    capsys, tmp_path: Path, boot_s: int, setup: str
) -> None:
    first = session(tmp_path, named=[(0, "B")])
    second = session(tmp_path, START_US + DAY_US, number=2)
    sender = Sender()
    frames = [frame for n in range(60) for frame in sender.second(boot_s + n, 50.0, 10.0, 2.0)]
    (second / "telemetry.tlog").write_bytes(records(frames, START_US + DAY_US, STEP_US))
    write_session(second, SessionNote(2, may_continue=first.name))
    assert shares(listed(capsys, tmp_path), 0)[0][0] == setup
    # Reading does not decide it: that is up to the daemon.
    assert read_session(second) == SessionNote(2, may_continue=first.name)


def test_sessions_that_continue_each_other_in_a_ring_terminate(capsys, tmp_path: Path) -> None:
    later = session_name(START_US + DAY_US)
    first = session(tmp_path, continues=later)
    session(tmp_path, START_US + DAY_US, number=2, continues=first.name)
    assert [one["setups"][0]["setup"] for one in listed(capsys, tmp_path)["sessions"]] == [
        "as is",
        "as is",
    ]


amounts = st.one_of(st.none(), st.floats(0.0, 1000.0))
rides = st.lists(st.builds(Share, st.sampled_from("ABC"), amounts, amounts), min_size=1, max_size=6)


@given(rides)
def test_merging_loses_nothing_and_leaves_no_short_share(parts: list[Share]) -> None:
    found = merged_shares(parts)
    for key in ("energy_wh", "distance_m"):
        before = math.fsum(getattr(part, key) or 0.0 for part in parts)
        after = math.fsum(getattr(part, key) or 0.0 for part in found)
        assert after == pytest.approx(before)
    assert len(found) == 1 or all((part.distance_m or 0.0) >= ASHORE_M for part in found)
    assert all(a.setup != b.setup for a, b in itertools.pairwise(found))


@pytest.mark.slow
def test_shares_of_a_simulated_ride_are_its_legs(capsys, tmp_path: Path) -> None:
    # The simulation's sums over its legs, without sensors: harbour_loop.truth.json.
    truth = json.loads((LOGS / "harbour_loop.truth.json").read_text())
    legs = truth["legs"]
    folder = tmp_path / "2025-06-14T09-30-00Z"
    folder.mkdir()
    (folder / "telemetry.tlog").write_bytes((LOGS / "harbour_loop.tlog").read_bytes())
    scales = ("current_scale", "current_offset_a", "voltage_scale")
    stated = "\n".join(f"{key} = {truth[key]}" for key in scales)
    (folder / "profile.toml").write_text(f"[sensors]\n{stated}\n")
    start_us = round(truth["start_unix_s"] * 1e6)
    book = MarkBook(folder)
    wanted = {"ease out": "A", "push": "B", "home": "C"}
    for leg in legs:
        if leg["name"] in wanted:
            name_setup(book, start_us, leg["start_s"], wanted[leg["name"]])
    (one,) = listed(capsys, tmp_path)["sessions"]
    parts = {part["setup"]: part for part in one["setups"]}
    # Made fast before, it moved by less than a metre: that part goes to the first set-up.
    bounds = [0.0, *(leg["start_s"] for leg in legs if leg["name"] in ("push", "home")), math.inf]
    for label, begin_s, end_s in zip("ABC", bounds, bounds[1:], strict=False):
        inside = [leg for leg in legs if begin_s <= leg["start_s"] < end_s]
        energy_wh = math.fsum(leg["energy_wh"] for leg in inside)
        # A step counts where it ends, so a second of the ride may be on the other side.
        assert parts[label]["energy_wh"] == pytest.approx(energy_wh, rel=0.01, abs=0.4)
        distance_m = math.fsum(leg["distance_m"] for leg in inside)
        assert parts[label]["distance_m"] == pytest.approx(distance_m, rel=0.01, abs=6.0)
    assert main(["sessions", str(tmp_path), "--setups"]) == 0
    out = capsys.readouterr().out
    assert "no comparison" in out
    assert [line.split()[0] for line in out.splitlines()[1:4]] == ["C", "A", "B"]
