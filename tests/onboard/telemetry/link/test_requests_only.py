"""Only three messages are ever sent, and only to the followed autopilot."""

import itertools

import pymavlink.dialects.v20.all as dialect
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from onboard.telemetry.link import requests
from onboard.telemetry.link.requests import Requests
from onboard.telemetry.mavlink.signing import SignatureGate, Signer
from onboard.telemetry.messages.table import REQUESTED
from tests.onboard.telemetry.link.made_autopilot import (
    COMPONENT,
    DENIED,
    KEY,
    LATER,
    SYSTEM,
    TICK_S,
    Autopilot,
    Run,
    ack,
    commands,
    frame,
    frames,
    needed,
    read,
    streams,
)
from tests.onboard.telemetry.made_messages import ID


@pytest.mark.parametrize(
    "answer",
    [
        ack(DENIED, target=(SYSTEM, 190)),
        ack(DENIED, target=(255, 190)),
        ack(DENIED, target=(SYSTEM + 1, 191)),
        ack(DENIED, command=400),
        ack(DENIED, sender=(SYSTEM, 100)),
        ack(DENIED, sender=(SYSTEM + 1, COMPONENT)),
    ],
)
def test_an_answer_to_or_from_somebody_else_is_ignored(answer: bytes) -> None:
    others, silent = Run(Autopilot(needed())), Run(Autopilot(needed()))
    logs = []
    for run, more in ((others, [answer]), (silent, [])):
        run.autopilot.default = None
        run.autopilot.rates[ID["VFR_HUD"]] = 0.0
        step = run.autopilot.step
        run.autopilot.step = lambda received, step=step, more=more: step(received) + more
        logs.append([(at, m.get_type()) for at, m in run.go(60)])
    assert logs[0] == logs[1]


def test_an_answer_to_this_system_counts() -> None:
    run = Run(Autopilot({**needed(), ID["VFR_HUD"]: 0.0}, complies=False))
    run.autopilot.default = None
    for count in (1, 2):
        while len(commands(run.log)) < count:
            run.go(TICK_S)
            assert run.now_s < 1020
        run.requests.observe(frames([ack(DENIED, target=(SYSTEM, 191))]), run.now_s)
    run.go(4)
    assert [group for _, group, _ in streams(run.log)][:1] == [dialect.MAV_DATA_STREAM_EXTRA2]


def test_listen_only_sends_nothing() -> None:
    run = Run(Autopilot({}), listen_only=True)
    assert run.go(60) == []
    assert run.requests.due(2000.0, None, None) == b""


@pytest.mark.parametrize("followed", [(0, 1), (7, 0), (None, None)])
def test_nothing_is_requested_from_no_single_component(followed) -> None:
    requester = Requests()
    for n in range(200):
        requester.observe(
            frames([frame(0), frame(0, sender=(0, 1)), frame(0, sender=(7, 0))]), n * TICK_S
        )
        sent = read(requester.due(n * TICK_S, *followed))
        assert {m.get_type() for m in sent} <= {"HEARTBEAT"}


def test_nothing_is_sent_to_an_autopilot_with_the_daemons_own_id() -> None:
    requester = Requests()
    for n in range(100):
        requester.observe(frames([frame(ID["HEARTBEAT"], sender=(7, 191))]), n * TICK_S)
        assert requester.due(n * TICK_S, 7, 191) == b""


def test_frames_sent_are_signed() -> None:
    gate = SignatureGate(KEY)
    requester = Requests(signer=Signer(KEY, lambda: 1_764_063_600_000_000, gate))
    got = b""
    for n in range(100):
        requester.observe(frames([frame(ID["HEARTBEAT"])]), n * TICK_S)
        got += requester.due(n * TICK_S, SYSTEM, COMPONENT)
    messages = read(got, signed=True)
    assert len(messages) > 20
    assert all(message.get_signed() for message in messages)
    assert len(gate.push(frames([bytes(m.get_msgbuf()) for m in messages]))) == len(messages)


SENDERS = st.sampled_from([(7, 1), (7, 191), (8, 1), (0, 0), (255, 190)])
FOLLOWED = st.sampled_from([(7, 1), (7, 1), (7, 1), (8, 1), (0, 1), (7, 0), (7, 191), (None, None)])
RECEIVED = st.one_of(
    st.builds(
        lambda number, times, sender: [frame(number, sender=sender)] * times,
        st.sampled_from([0, *REQUESTED, 66, 76, 256]),
        st.integers(1, 60),
        SENDERS,
    ),
    st.builds(
        lambda payload, sender: [frame(requests.COMMAND_ACK, payload, sender)],
        st.one_of(
            st.binary(min_size=1, max_size=10),
            st.integers(0, 9).map(lambda result: b"\xff\1" + bytes((result,))),
        ),
        SENDERS,
    ),
    st.builds(
        lambda number, payload, sender: [frame(number, payload, sender)],
        st.sampled_from([*REQUESTED, 66, 76, 75, 11, 256]),
        st.binary(min_size=1, max_size=255),
        SENDERS,
    ),
)
STEPS = st.lists(
    st.tuples(
        # Milliseconds: many small steps, some long ones.
        st.one_of(st.integers(0, 400), st.sampled_from([1000, 2500, 5000, 40_000])),
        st.lists(RECEIVED, max_size=3),
        FOLLOWED,
        st.integers(1, 60),
    ),
    max_size=25,
)


@settings(max_examples=150)
@given(STEPS, st.booleans())
@pytest.mark.slow
def test_only_three_messages_are_ever_sent_whatever_is_received(steps, signed: bool) -> None:
    signer = Signer(KEY, lambda: 1_764_063_600_000_000) if signed else None
    requester = Requests(signer=signer)
    now_ms, sent = 50_000_000, []
    stream = b""
    for step_ms, received, followed, times in steps:
        for _ in range(times):
            now_ms += step_ms
            requester.observe(frames(list(itertools.chain.from_iterable(received))), now_ms * 1e-3)
            data = requester.due(now_ms * 1e-3, *followed)
            stream += data
            messages = read(data)
            sent.append((now_ms, len(data)))
            for message in messages:
                check(message, followed)
    # Also as one stream: signatures are right, and their times increase.
    assert all(message.get_signed() == signed for message in read(stream, signed))
    for n, (start_ms, _) in enumerate(sent):
        second = itertools.takewhile(lambda one, s=start_ms: one[0] < s + 1000, sent[n:])
        assert sum(size for _, size in second) <= requests.BYTES_PER_S_MOST


def test_immediate_answers_do_not_speed_up_requests() -> None:
    requester = Requests(signer=Signer(KEY, lambda: 1_764_063_600_000_000))
    answers, sent = frames([frame(0), ack(LATER)]), []
    for now_ms in range(0, 20_000, 10):
        requester.observe(answers, now_ms * 1e-3)
        sent.append(requester.due(now_ms * 1e-3, SYSTEM, COMPONENT))
    busiest = max(sum(map(len, sent[n : n + 100])) for n in range(len(sent)))
    # At least four requests and a HEARTBEAT, or this would not be the busiest case.
    assert 4 * 55 + 34 <= busiest <= requests.BYTES_PER_S_MOST


def check(message, followed) -> None:
    assert message.get_srcComponent() == 191
    if message.get_type() == "HEARTBEAT":
        assert (message.type, message.autopilot, message.base_mode) == (18, 8, 0)
        return
    assert all(followed)
    assert message.get_srcSystem() == followed[0]
    assert (message.target_system, message.target_component) == followed
    if message.get_type() == "COMMAND_LONG":
        assert message.command == 511
        row = REQUESTED[int(message.param1)]
        assert message.param2 == pytest.approx(1e6 / row.rate_hz)
        others = [getattr(message, f"param{n}") for n in range(3, 8)]
        assert [*others, message.confirmation] == [0] * 6
    else:
        assert message.get_type() == "REQUEST_DATA_STREAM"
        assert message.start_stop == 1
        assert 1 <= message.req_message_rate <= requests.GROUP_RATE_MOST_HZ
        assert message.req_stream_id in (1, 2, 6, 10, 11, 12)
