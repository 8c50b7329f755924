"""Content of the runs view during a trial."""

from dataclasses import replace

import pytest

from groundside.dashboard.content.coach import coach_content
from groundside.dashboard.widgets.coach_lines import coach_lines
from onboard.contract.coach import Coach, Step, StepCode, TrialPlace
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import snapshot, state
from tests.made_snapshot import COACH, TARGET, changed

SIZES = [(40, 8), (40, 15), (40, 19), (80, 21), (120, 34)]


def content(coach: Coach = COACH, **more):
    target = changed(TARGET, power_w=400.0)
    return coach_content(state(snapshot(setup="A", target=target, coach=coach), **more), coach)


def test_the_step_is_a_word_a_number_and_a_sentence() -> None:
    shown = content()
    assert (shown.word, shown.number, shown.unit) == ("HOLD", "42", "s")
    assert shown.sentence == "Hold 400 W, 42 s more."
    assert not shown.at_rest
    swap = content(changed(COACH, step=Step(StepCode.SWAP, setup="slim")))
    assert (swap.word, swap.number, swap.at_rest) == ("SWAP", "", True)


def test_the_standing_is_a_place_a_lag_a_chance_and_runs() -> None:
    lines = content().lines
    assert [line.setup for line in lines] == ["A", "slim", "B"]
    # Set-ups that cannot be told apart share a place.
    assert [line.place for line in lines] == ["1", "1", "3"]
    assert [line.behind for line in lines] == ["best", "+1.2 %", "+6.1 %"]
    assert lines[1].within == "-1.1 to +3.5"
    assert [line.chance for line in lines] == ["83 %", "16 %", "1 %"]
    assert [line.runs for line in lines] == ["2", "1", "2"]
    assert [line.on for line in lines] == [True, False, False]
    assert [line.drop for line in lines] == [False, False, True]


def test_notes_tell_what_to_do_with_it() -> None:
    shown = content()
    assert shown.ahead == "Ahead: A, slim, slim, A"
    assert shown.notes == (
        "2 rounds more should tell.",
        "Drop B: surely not the best.",
        "Caution: the charge differs.",
        "Told apart from 2.8 % on, at 402 W.",
    )


def test_without_a_standing_the_runs_are_counted_and_the_reason_is_said() -> None:
    shown = content(changed(COACH, standing=Unknown(Reason.NOT_RECORDED)))
    assert [(line.setup, line.runs, line.behind) for line in shown.lines] == [
        ("A", "2", "--"), ("B", "2", "--"), ("slim", "1", "--")
    ]  # fmt: skip
    assert shown.notes == ("No standing: no record is kept.",)


def test_what_is_unknown_in_a_standing_stays_unknown() -> None:
    never = Unknown(Reason.NEVER_TOGETHER)
    places = (
        TrialPlace("A", 0, Figure(0.0), 0.9),
        TrialPlace("B", 0, never, never),
    )
    standing = replace(COACH.standing, places=places, rounds=never, told_fraction=never)  # type: ignore[type-var]
    lines = content(changed(COACH, standing=standing)).lines
    assert (lines[1].behind, lines[1].within, lines[1].chance) == ("--", "", "--")
    # The set-up without figures comes last, with its runs.
    assert (lines[2].setup, lines[2].runs) == ("slim", "1")


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("code", list(StepCode))
def test_every_step_fits_every_size_with_its_sentence(
    size: tuple[int, int], code: StepCode
) -> None:
    values = {
        "setup": "three blades", "setups": ("A", "B"), "target_w": 400.0, "left_s": 42.0,
        "settle_s": 10.0, "course_deg": 263.0, "left_fraction": 0.3, "now_w": 352.0, "name": "x",
    }  # fmt: skip
    step = Step(code, **{name: values[name] for name in code.names})
    shown = content(changed(COACH, step=step))
    lines = coach_lines(shown, size)
    assert len(lines) <= size[1]
    text = ["".join(piece for piece, _ in line) for line in lines]
    assert all(len(row.rstrip()) <= size[0] for row in text)
    assert shown.sentence in " ".join(" ".join(text).split())


def test_stale_data_say_so() -> None:
    shown = content(since_received_s=60.0)
    assert shown.stale
    text = "".join(piece for piece, _ in coach_lines(shown, (40, 15))[0])
    assert "STALE" in text
