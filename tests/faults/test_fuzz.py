"""A short run of the fuzzer, and examples of hypothesis."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.faults.fuzz import Outcome, feed_link, feed_log, run


@pytest.mark.slow
def test_mutated_bytes_do_no_harm_to_either_scanner() -> None:
    for kind, outcome in run(400_000, seed=3).items():
        print(f"{kind}: {outcome}")
        assert outcome.fed_bytes == 200_000
        # Most of the stream is sound, and must be found despite the rest.
        assert outcome.frames > 2_000
        assert outcome.bad_bytes > 5_000


@pytest.mark.slow
@settings(max_examples=300)
@given(
    st.lists(
        st.binary(max_size=300)
        | st.sampled_from(
            [b"\xfd" * 900, b"\xfe" * 900, b"\xfd\xff\x00" * 300, bytes(900), b"\x00\xfd\x00" * 300]
        ),
        max_size=8,
    ),
    st.integers(0, 1000),
)
def test_arbitrary_bytes_do_no_harm(parts: list[bytes], seed: int) -> None:
    data = b"".join(parts)
    chance = random.Random(seed)
    link, log = Outcome(), Outcome()
    feed_link(data, chance, link)
    feed_log(data, chance, log)
    assert link.fed_bytes == log.fed_bytes == len(data)
    assert log.bad_bytes <= len(data)
