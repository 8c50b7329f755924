"""Two set-ups against each other: the sentence for each verdict."""

import pytest

from groundside.reports.compare.pair_text import pair_sentence, ranked_pairs
from groundside.words.units import DEFAULT
from onboard.contract.figure import Figure, Unknown
from onboard.contract.reasons import Reason
from onboard.efficiency.trial.comparison import compare
from onboard.efficiency.trial.equal_power import CurveSlope
from onboard.efficiency.trial.results import PairResult
from tests.onboard.efficiency.trial.made_legs import Runs

FEW = Unknown(Reason.TOO_FEW_DOUBLE_RUNS)
A, B = Figure(-0.07, -0.1, -0.04), Figure(0.01, -0.02, 0.04)


@pytest.mark.parametrize(
    ("pair", "sentence"),
    [
        (
            PairResult("A", "B", A, "a_better", None, 0.001, 6.0),
            "A uses 7.0 % less than B (4.0 to 10.0 %).",
        ),
        (
            # 1 / 1.25 - 1 = -20 %, 1 / 1.6 - 1 = -37.5 %, 1 / 1.111 - 1 = -10 %.
            PairResult("A", "B", Figure(0.25, 1 / 0.9 - 1, 0.6), "b_better", None, 0.001, 6.0),
            "B uses 20.0 % less than A (10.0 to 37.5 %).",
        ),
        (
            PairResult("A", "B", B, "cannot_tell", 6, 0.4, 6.0),
            "A and B cannot be told apart: about 6 more double runs would tell 3 % (A uses 2.0 % "
            "less to 4.0 % more than B).",
        ),
        (
            PairResult("A", "B", Figure(0.001, -0.01, 0.012), "cannot_tell", 0, 0.9, 20.0),
            "A and B cannot be told apart: enough was run to find 3 %, so if they differ it is by "
            "less (A uses 1.0 % less to 1.2 % more than B).",
        ),
        (
            PairResult("A", "B", B, "cannot_tell", 0, 0.4, 6.0),
            "A and B cannot be told apart: enough was run to find 3 % most times, but as much "
            "is not ruled out (A uses 2.0 % less to 4.0 % more than B).",
        ),
        (
            PairResult("A", "B", B, "cannot_tell", None, 0.4, 6.0),
            "A and B cannot be told apart (A uses 2.0 % less to 4.0 % more than B).",
        ),
        (
            PairResult("A", "B", A, "cannot_tell", None, 0.01, 6.0, Unknown(Reason.DRIFT_POSSIBLE)),
            "A and B cannot be told apart: all runs of one came before all of the other, so "
            "a step or drift may be what differs (A uses 4.0 to 10.0 % less than B).",
        ),
        (
            PairResult("A", "B", Figure(0.06, 0.01, 0.11), "cannot_tell", 3, 0.2, 1.0, FEW),
            "A and B cannot be told apart: too few double runs; about 3 more double runs would "
            "tell 3 % (A uses 1.0 to 11.0 % more than B).",
        ),
        (
            PairResult("A", "B", Unknown(Reason.NEVER_TOGETHER), "cannot_tell", None, None, 0),
            "A and B cannot be told apart: they were never run on the same outing.",
        ),
    ],
)
def test_the_sentence_for_each_verdict(pair: PairResult, sentence: str) -> None:
    assert pair_sentence(pair, DEFAULT) == sentence


def test_laps_are_counted_as_laps() -> None:
    pair = PairResult("A", "B", B, "cannot_tell", 6, 0.4, 6.0)
    assert "about 6 more laps would tell 3 %" in pair_sentence(pair, DEFAULT, "laps")


def test_pairs_come_in_the_order_of_the_ranking() -> None:
    """Found: 21 sentences in the order of the sheet."""
    found = compare(
        Runs("cbaabc", speed_mps={"a": 2.0, "b": 1.9, "c": 1.8}).legs(),
        400.0, CurveSlope(0.28, 0.08, False), 0.02,
    )  # fmt: skip
    assert not isinstance(found, Unknown)
    assert [{one.a, one.b} for one in ranked_pairs(found)] == [
        {"a", "b"}, {"a", "c"}, {"b", "c"},
    ]  # fmt: skip
    assert [{one.a, one.b} for one in found.pairs] != [
        {"a", "b"}, {"a", "c"}, {"b", "c"},
    ]  # fmt: skip
