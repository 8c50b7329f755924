"""Writing figures."""

from groundside.words.figures import age_text, clock_text, one_decimal, three_figures, whole


def test_no_minus_zero() -> None:
    assert (three_figures(-0.001), one_decimal(-0.04), whole(-0.4)) == ("0.00", "0.0", "0")
    assert one_decimal(-0.4) == "-0.4"


def test_durations() -> None:
    assert clock_text(3723.9) == "01:02:03"
    assert (age_text(59.7), age_text(3599.8)) == ("1 min 00 s", "1 h 00 min")
