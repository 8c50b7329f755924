"""Rides shared by several tests, simulated once."""

import pytest

from tests.craft.recording import Recording, record
from tests.craft.scenarios import SCENARIOS


@pytest.fixture(scope="session")
def harbour() -> Recording:
    return record(SCENARIOS["harbour_loop"])


@pytest.fixture(scope="session")
def board() -> Recording:
    return record(SCENARIOS["board_sprints"])
