"""Content of the runs view during a trial."""

from dataclasses import replace

import pytest

from groundside.dashboard.content.coach import coach_content
from groundside.dashboard.widgets.coach_lines import coach_lines
from onboard.contract.coach import Coach, Step, StepCode, TrialPlace
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from tests.groundside.dashboard.steered_app import snapshot, state
from tests.made_snapshot import COACH, RUN, TARGET, changed

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


def test_a_set_up_to_drop_has_no_share_in_the_first_place() -> None:
    """'1 red' once stood above 'Drop red: surely not the best'."""
    places = tuple(replace(place, group=0) for place in COACH.standing.places)
    shown = content(changed(COACH, standing=replace(COACH.standing, places=places)))
    assert [(line.setup, line.place) for line in shown.lines] == [
        ("A", "1"),
        ("slim", "1"),
        ("B", ""),
    ]


def test_notes_tell_what_to_do_with_it() -> None:
    shown = content()
    assert shown.ahead == "Ahead: A, slim, slim, A"
    assert shown.notes == (
        "About 4 more double runs should settle it.",
        "Drop B: not worth another run.",
        "Caution: the charge differs.",
        "Can tell apart 2.8 % of consumption or more, at 402 W.",
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


@pytest.mark.parametrize("code", [StepCode.SETTLE, StepCode.NO_DATA])
def test_a_word_too_long_for_large_letters_is_written(code: StepCode) -> None:
    """A phone once showed a lone '4 s' while settling."""
    values = {"target_w": 400.0, "left_s": 4.0} if code is StepCode.SETTLE else {}
    shown = content(changed(COACH, step=Step(code, **values)))
    lines = coach_lines(shown, (40, 15))
    assert shown.word in [text.strip() for line in lines for text, _ in line]


def test_no_chance_is_nought_or_certain() -> None:
    """It once read 100 % where `compare` says > 99 %."""
    chances = (0.999, 0.5, 0.001)
    places = tuple(
        replace(place, best_chance_fraction=chance)
        for place, chance in zip(COACH.standing.places, chances, strict=True)
    )
    shown = content(changed(COACH, standing=replace(COACH.standing, places=places)))
    assert [line.chance for line in shown.lines] == ["> 99 %", "50 %", "< 1 %"]


def test_long_names_that_begin_alike_are_told_apart_on_a_phone() -> None:
    """Twelve of them once were twelve times 'three blad..'."""
    names = tuple(f"three blades of carbon, no {number}" for number in range(3))
    swap = Step(StepCode.SWAP, setup=names[0])
    unknown = Unknown(Reason.NOT_RECKONED)
    shown = content(changed(COACH, setups=names, runs=(0, 0, 0), step=swap, standing=unknown))
    text = "\n".join("".join(part for part, _ in line) for line in coach_lines(shown, (40, 15)))
    assert [f"no {number}" in text for number in range(3)] == [True] * 3


def test_a_run_left_open_is_seen() -> None:
    """Only the button 'end run' once told of it."""
    runs = (changed(RUN, number=4, open=True),)
    shown = coach_content(state(snapshot(setup="A", coach=COACH, runs=runs)), COACH)
    assert shown.head == "run 4 OPEN, A on, there and back"
    assert content().head == "A on, there and back"
