"""The coach's standing is what the comparison says of the saved session, to the last digit."""

from dataclasses import replace
from pathlib import Path

import pytest

from onboard.coach import reckoning as reckoning_module
from onboard.coach.reckoning import Reckoning, standing_of
from onboard.contract.coach import TrialStanding
from onboard.contract.commands import Mark
from onboard.contract.figure import Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.trial.trial import Trial, TrialRide, trial_of
from onboard.profile import Profile
from onboard.record.marked_runs import trial_spans
from onboard.record.marks import in_record, read_marks
from onboard.telemetry.logs.telemetry_log import log_span_us
from tests.onboard.coach.made_day import ABBA, START_UNIX_S, made_day
from tests.onboard.coach.test_session_reading import PROFILE, whole


def at(until_s: float) -> int:
    return round((START_UNIX_S + until_s) * 1e6)


def saved(folder: Path) -> TrialStanding:
    """Return the standing of the saved session, in one go."""
    first_s = log_span_us(folder)[0] * 1e-6
    marks = in_record(read_marks(folder), first_s)
    rides = [TrialRide(whole(folder), [], trial_spans(marks) or [], 0, first_s, folder.name)]
    reading = reckoning_module.SessionReading(folder, PROFILE)
    reading.advance()
    rides[0] = replace(rides[0], steady=reading.gathering.steady)
    trial = trial_of(rides, PROFILE.sensors, coached=True)
    assert isinstance(trial, Trial)
    return standing_of(trial, 0.0)


def test_the_standing_equals_that_of_the_saved_session(tmp_path: Path) -> None:
    day = made_day((*ABBA, *ABBA))
    folder = day.put(tmp_path / "s")
    reckoning = Reckoning([folder], PROFILE)
    seen = []
    for until_s in range(60, int(day.frames[-1].time_s) + 60, 47):
        found = reckoning.reckon(at(until_s))
        seen.append(len(found.runs))
    assert seen == sorted(seen)
    assert seen[-1] == 16
    assert not isinstance(found.standing, Unknown)
    assert replace(found.standing, until_s=0.0) == saved(folder)
    assert [place.setup for place in found.standing.places] == ["A", "B"]
    assert found.until_s > day.frames[-1].time_s - 6.0


def test_runs_marked_by_hand_win(tmp_path: Path) -> None:
    day = made_day(by_hand=True)
    found = Reckoning([day.put(tmp_path / "s")], PROFILE).reckon()
    marked = [t_s for t_s, command in day.commands if isinstance(command, Mark)]
    spans = list(zip(marked[::2], marked[1::2], strict=True))
    assert len(found.runs) == len(spans) == 8
    for run, (begun_s, ended_s) in zip(found.runs, spans, strict=True):
        assert begun_s <= run.start_s < run.end_s <= ended_s
    free = Reckoning([made_day().put(tmp_path / "free")], PROFILE).reckon()
    assert any(a.start_s < b for a, b in zip(free.runs, marked[::2], strict=True))


def test_without_runs_of_two_set_ups_it_says_why(tmp_path: Path) -> None:
    reckoning = Reckoning([tmp_path / "s"], PROFILE)
    assert reckoning.reckon().standing == Unknown(Reason.NOT_RECKONED)
    made_day().put(tmp_path / "s", 220.0)
    found = reckoning.reckon()
    assert len(found.runs) == 2
    assert found.standing == Unknown(Reason.ONE_SETUP)


def test_a_way_out_alone_is_not_compared_and_closed_spans_are_searched_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    compared, searched = [], []
    real_trial, real_runs = reckoning_module.trial_of, reckoning_module.runs_in

    def trial(*given, **more):
        compared.append(1)
        return real_trial(*given, **more)

    def runs(seconds, span, *more):
        searched.append(span.setup)
        return real_runs(seconds, span, *more)

    monkeypatch.setattr(reckoning_module, "trial_of", trial)
    monkeypatch.setattr(reckoning_module, "runs_in", runs)
    day = made_day((*ABBA, *ABBA))
    reckoning = Reckoning([day.put(tmp_path / "s")], PROFILE)
    turns = range(20, int(day.frames[-1].time_s) + 60, 20)
    for until_s in turns:
        reckoning.reckon(at(until_s))
    assert len(compared) <= 8 + 8  # once a double run; a run that grows is another one
    assert len(searched) < 2 * len(turns)


def test_sessions_of_one_trip_are_one_trial(tmp_path: Path) -> None:
    """A daemon that was restarted half way goes on with the set-up, the trial and the runs."""
    day = made_day((*ABBA, *ABBA))
    half_s = next(t_s for t_s, command in day.commands[6:] if command.key == "setup") + 1.0
    first, second = tmp_path / "1", tmp_path / "2"
    day.put(first, half_s)
    later = replace(
        day,
        frames=[frame for frame in day.frames if frame.time_s > half_s],
        commands=[one for one in day.commands if one[0] > half_s],
    )
    later.put(second)
    found = Reckoning([first, second], PROFILE).reckon()
    assert len(found.runs) == 16
    assert not isinstance(found.standing, Unknown)
    # Times are those of the second session: the runs of the first lie before its start.
    assert sum(run.end_s < 0.0 for run in found.runs) == 10
    alone = Reckoning([second], PROFILE).reckon()
    assert alone.runs == ()


def test_a_profile_s_sensors_are_used(tmp_path: Path) -> None:
    folder = made_day().put(tmp_path / "s")
    scaled = replace(Profile(), sensors=replace(Profile().sensors, current_scale=1.1))
    plain, more = (Reckoning([folder], one).reckon().standing for one in (PROFILE, scaled))
    assert not isinstance(plain, Unknown)
    assert not isinstance(more, Unknown)
    assert more.power_w == pytest.approx(1.1 * plain.power_w)
