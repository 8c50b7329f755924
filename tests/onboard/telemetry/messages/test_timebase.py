"""The time base: order and boot clock decide, time of receipt only where it must."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from onboard.telemetry.messages.timebase import TimeBase

NAN = float("nan")


def run(receipt_s, boot_s, sequence=None, cuts=()):
    base = TimeBase()
    sequence = np.arange(len(receipt_s)) % 256 if sequence is None else np.asarray(sequence)
    receipt_s, boot_s = np.asarray(receipt_s, float), np.asarray(boot_s, float)
    parts = []
    for first, last in zip([0, *cuts], [*cuts, len(receipt_s)], strict=True):
        piece = slice(first, last)
        parts.append(base.push(receipt_s[piece], boot_s[piece], sequence[piece]))
    return np.concatenate([*parts, base.finish()]), base


def test_unstamped_messages_are_spread_evenly_between_stamps() -> None:
    t_s, _ = run([100.0, 100.0, 100.0, 100.0], [50.0, NAN, NAN, 50.3])
    assert t_s == pytest.approx([0.0, 0.1, 0.2, 0.3])


def test_a_burst_after_a_stall_changes_no_time() -> None:
    # 10 Hz, stamped and unstamped by turns; everything after 2 s comes in one burst at 12 s.
    boot = 30.0 + np.arange(101) * 0.1
    stamps = np.where(np.arange(101) % 2 == 0, boot, NAN)
    steady, _ = run(boot + 1000.0, stamps)
    stalled, _ = run(np.where(boot > 32.0, 1042.0, boot + 1000.0), stamps)
    at_once, _ = run(np.full(101, 1000.0), stamps)
    assert steady == pytest.approx(np.arange(101) * 0.1)
    assert stalled == pytest.approx(steady)
    assert at_once == pytest.approx(steady)


def test_over_lost_messages_receipt_decides_the_side() -> None:
    # Sent once a second: stamp, plain, then eight lost, then plain, stamp.
    t_s, _ = run([0.0, 0.1, 9.9, 10.0], [70.0, NAN, NAN, 80.0], sequence=[0, 1, 10, 11])
    assert t_s == pytest.approx([0.0, 0.1, 9.9, 10.0])


def test_between_rare_stamps_without_loss_order_counts() -> None:
    t_s, _ = run(np.zeros(6), [5.0, NAN, NAN, NAN, NAN, 7.5])
    assert t_s == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0, 2.5])


@pytest.mark.parametrize("lost", [1, 100, 127, 128, 129, 150, 250, 256, 257, 1000])
def test_messages_before_and_after_a_loss_stay_on_their_sides(lost: int) -> None:
    # 100 messages a second apart by a hundredth, then the loss.
    sent = [*range(600), 600 + lost, 601 + lost]
    t = [0.01 * n for n in sent]
    boot = [50.0 + t_s if n % 4 == 0 else NAN for n, t_s in enumerate(t)]
    boot[-3:] = [NAN, NAN, 50.0 + t[-1]]
    t_s, _ = run(t, boot, [n % 256 for n in sent])
    assert t_s == pytest.approx(t, abs=0.02)


def test_without_any_stamp_receipt_counts() -> None:
    receipt = 500.0 + np.arange(40) * 0.5
    t_s, base = run(receipt, np.full(40, NAN))
    assert t_s == pytest.approx(np.arange(40) * 0.5)
    assert base.restarts == 0


def test_a_restart_of_the_boot_clock_loses_no_time() -> None:
    # Ten seconds of ride, four seconds of silence, boot clock starts again at 1 s.
    receipt = np.concatenate([np.arange(11.0), 15.0 + np.arange(11.0)])
    boot = np.concatenate([200.0 + np.arange(11.0), 1.0 + np.arange(11.0)])
    t_s, base = run(receipt, boot)
    assert t_s == pytest.approx(receipt)
    assert base.restarts == 1


def test_stamps_a_little_out_of_order_are_not_a_restart() -> None:
    t_s, base = run([0.0, 0.0, 0.0, 0.0], [10.0, 10.2, 10.15, 10.3])
    assert t_s == pytest.approx([0.0, 0.2, 0.15, 0.3])
    assert base.restarts == 0


def test_a_wall_clock_set_back_does_not_reverse_time() -> None:
    t_s, _ = run([1000.0, 1001.0, 3.0, 4.0], [NAN, NAN, NAN, NAN])
    assert t_s == pytest.approx([0.0, 1.0, 1.0, 2.0])


def test_a_sender_that_does_not_count_its_messages_is_timed_by_their_order() -> None:
    boot = [50.0, NAN, NAN, 50.3, NAN, 50.5]
    t_s, _ = run([0.0, 0.1, 0.2, 0.3, 0.4, 0.5], boot, sequence=[0] * 6)
    assert t_s == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4, 0.5])


def test_between_stamps_sequence_numbers_place_messages() -> None:
    # Of nine messages sent a tenth of a second apart, the sixth to eighth are lost.
    t_s, _ = run([0.0] * 4, [50.0, NAN, NAN, 50.8], sequence=[250, 251, 254, 2])
    assert t_s == pytest.approx([0.0, 0.1, 0.4, 0.8])


def test_a_silence_settles_what_the_next_message_would_have_settled() -> None:
    receipt = np.array([0.0, 0.2, 0.4, 9.0, 9.1])
    boot = np.array([50.0, NAN, NAN, 59.0, 59.1])
    whole, _ = run(receipt, boot)
    base = TimeBase()
    first = base.push(receipt[:3], boot[:3], np.arange(3))
    assert len(base.silence(2.9)) == 0
    waited = np.concatenate([base.silence(3.3), base.silence(5.0)])
    rest = base.push(receipt[3:], boot[3:], np.arange(3, 5))
    assert np.concatenate([first, waited, rest]) == pytest.approx(whole)
    assert waited == pytest.approx([0.2, 0.4])


@given(
    st.lists(
        st.tuples(
            st.sampled_from([0.0, 0.01, 0.3, 2.0, 4.5, -7.0]),  # receipt step
            st.sampled_from([None, None, 0.05, 0.4, 3.0, -30.0]),  # boot step, None: no stamp
            st.sampled_from([1, 1, 1, 3, 0, 200]),  # sequence step
        ),
        min_size=1,
        max_size=60,
    ),
    st.data(),
)
def test_times_do_not_depend_on_the_cut(steps, data) -> None:
    receipt = 1000.0 + np.cumsum([step[0] for step in steps])
    boot, clock = [], 100.0
    for _, step, _ in steps:
        clock = max(clock + (step or 0.1), 0.5)
        boot.append(NAN if step is None else clock)
    sequence = np.cumsum([step[2] for step in steps]) % 256
    whole, _ = run(receipt, boot, sequence)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(steps)), max_size=10)))
    pieces, _ = run(receipt, boot, sequence, cuts)
    assert len(whole) == len(steps)
    assert pieces == pytest.approx(whole, abs=1e-9)


@pytest.mark.parametrize("late_s", [0.5, 4.5])
def test_a_restart_is_the_same_whether_its_second_stamp_comes_soon_or_late(late_s: float) -> None:
    # A late one finds the first timed by receipt, so it must be the same if all came at once.
    receipt = [0.0, 0.0, 0.0, late_s, late_s, late_s + 0.1]
    boot = [100.0, NAN, 70.0, NAN, 70.1, 70.2]
    whole, _ = run(receipt, boot)
    for cut in range(1, 6):
        pieces, _ = run(receipt, boot, cuts=[cut])
        assert pieces == pytest.approx(whole)
    assert whole[-1] == pytest.approx(0.2 if late_s < 3.0 else late_s + 0.1)


def test_messages_wait_no_longer_for_a_restart_than_for_a_stamp() -> None:
    # The second message is overdue before the stamp at 70.2 confirms the one at 70.0.
    receipt, boot = [0.0, 0.0, 2.0, 4.0, 4.1], [100.0, NAN, 70.0, NAN, 70.2]
    whole, _ = run(receipt, boot)
    assert whole == pytest.approx([0.0, 0.0, 2.0, 2.1, 2.2])
    for cut in range(1, 5):
        pieces, _ = run(receipt, boot, cuts=[cut])
        assert pieces == pytest.approx(whole)


@pytest.mark.parametrize(
    ("later", "end_s"), [(50.65, 4.5 + 0.3), (100.65, 0.65 + 0.3)], ids=["restarted", "lone"]
)
def test_a_stamp_that_went_back_waits_no_longer_than_others(later: float, end_s: float) -> None:
    # The next stamp comes 4.5 s behind it: whether the two came in one piece must not matter.
    receipt = np.concatenate([np.zeros(8), np.full(10, 4.5)])
    boot = np.full(18, NAN)
    boot[[6, 7, 9, 12, 15, 17]] = 100.0, 50.0, later, later + 0.1, later + 0.2, later + 0.3
    whole, _ = run(receipt, boot)
    for cut in range(1, 18):
        assert run(receipt, boot, cuts=(cut,))[0] == pytest.approx(whole, abs=1e-9), cut
    assert run(receipt, boot, cuts=range(1, 18))[0] == pytest.approx(whole, abs=1e-9)
    # A silence that settles it leaves the same.
    base = TimeBase()
    first = base.push(receipt[:8], boot[:8], np.arange(8))
    parts = [first, base.silence(4.0), base.push(receipt[8:], boot[8:], np.arange(8, 18))]
    assert np.concatenate([*parts, base.finish()]) == pytest.approx(whole, abs=1e-9)
    assert whole[-1] == pytest.approx(end_s)


def test_messages_wait_no_longer_for_a_stamp_that_is_accepted_late() -> None:
    # The second message waits 4 s: the stamp behind it went back, and counts from the next one on.
    receipt, boot = [2.0, 2.0, 4.0, 6.0, 6.0], [170.0, NAN, 140.0, NAN, 140.2]
    whole, _ = run(receipt, boot)
    one_by_one, base = run(receipt, boot, cuts=range(1, 5))
    assert one_by_one == pytest.approx(whole, abs=1e-9)
    assert whole == pytest.approx([0.0, 0.0, 2.0, 2.1, 2.2])
    assert base.restarts == 1


def test_jittering_stamps_add_no_time() -> None:
    # Without a boot clock, receipt wavers by 0.4 s from message to message.
    receipt = np.arange(400) * 0.1 + np.where(np.arange(400) % 2, 0.4, 0.0)
    t_s, _ = run(receipt, np.full(400, NAN))
    assert t_s[-1] == pytest.approx(39.9 + 0.4)
    assert np.all(np.diff(t_s) >= 0)


@pytest.mark.parametrize("cuts", [(), (17,), (18,), (3, 17, 18)])
@pytest.mark.parametrize("ahead_s", [100.0, 3600.0, 4_000_000.0])
def test_a_single_stamp_far_ahead_is_ignored(ahead_s: float, cuts) -> None:
    boot = 30.0 + np.arange(40) * 0.5
    damaged = boot.copy()
    damaged[17] += ahead_s
    t_s, base = run(boot + 1000.0, damaged, cuts=cuts)
    assert t_s == pytest.approx(np.arange(40) * 0.5)
    assert base.restarts == 0


def test_time_passed_in_silence_counts() -> None:
    boot = np.concatenate([30.0 + np.arange(20) * 0.5, 700.0 + np.arange(20) * 0.5])
    t_s, base = run(boot + 1000.0, boot, sequence=[*range(20), *range(90, 110)])
    assert t_s[:20] == pytest.approx(np.arange(20) * 0.5)
    assert t_s[20:] == pytest.approx(670.0 + np.arange(20) * 0.5)
    assert base.restarts == 0


@pytest.mark.parametrize("cuts", [(), (20,), (21,), (22,)])
def test_a_boot_clock_that_is_set_ahead_passes_no_time(cuts) -> None:
    boot = 30.0 + np.arange(40) * 0.5
    leapt = np.where(np.arange(40) < 20, boot, boot + 604_800.0)
    t_s, base = run(boot + 1000.0, leapt, cuts=cuts)
    assert t_s == pytest.approx(np.arange(40) * 0.5, abs=0.5)
    assert base.restarts == 1


@pytest.mark.parametrize(
    ("gap_s", "times", "counts"),
    [
        # Played at up to a hundred times real time a gap is one; a buffer hides no more than an
        # hour of it.
        (3700.0, 1.0, True),
        (3700.0, 20.0, True),
        (36_000.0, 90.0, True),
        (36_000.0, 110.0, False),
        (3700.0, 1e6, False),
        (3500.0, 1e6, True),
    ],
)
def test_a_gap_of_hours_in_a_log_played_fast_is_not_a_set_clock(
    gap_s: float, times: float, counts: bool
) -> None:
    boot = np.concatenate([30.0 + np.arange(20) * 0.5, 39.5 + gap_s + np.arange(20) * 0.5])
    receipt = 1000.0 + (boot - boot[0]) / times
    t_s, base = run(receipt, boot)
    made_s = gap_s if counts else gap_s / times
    assert t_s[-1] == pytest.approx(19.0 + made_s, abs=1.0)
    assert base.restarts == (0 if counts else 1)


def test_random_boot_clocks_pass_no_more_time_than_the_receipt() -> None:
    rng = np.random.default_rng(3)
    receipt = 1000.0 + np.arange(200) * 0.5
    t_s, _ = run(receipt, rng.uniform(0, 4e6, 200))
    assert t_s.max() < 120.0


@pytest.mark.parametrize("off_s", [-180.0, -30.0, -4.0, 70.0, 5000.0])
@pytest.mark.parametrize("cut", [None, 10, 11])
def test_a_lone_stamp_of_another_clock_adds_no_time(off_s: float, cut: int | None) -> None:
    # A forged frame, or one with a valid checksum by chance, which once cost 3 min of a trip.
    receipt = np.arange(30.0)
    boot = 200.0 + receipt
    boot[10] += off_s
    base, parts = TimeBase(), []
    for piece in (slice(0, cut), slice(cut, None)) if cut else (slice(0, None),):
        numbers = np.arange(30)[piece]
        parts.append(base.push(receipt[piece], boot[piece], numbers))
    t_s = np.concatenate([*parts, base.finish()])
    assert t_s == pytest.approx(receipt, abs=0.01)
    assert base.restarts == 0


def test_two_autopilots_of_one_id_are_timed_by_receipt() -> None:
    # Each step between the clocks used to count as elapsed time: hours within seconds.
    receipt = np.arange(60.0)
    boot = np.where(np.arange(60) % 2, 20.0, 1000.0) + receipt
    t_s, _ = run(receipt, boot)
    assert t_s[-1] == pytest.approx(59.0, abs=3.0)
