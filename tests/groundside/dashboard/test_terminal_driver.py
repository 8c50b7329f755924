"""The terminal's size, when the signals of two resizes overtake each other."""

from textual.events import Resize
from textual.geometry import Size
from textual.message import Message

from groundside.dashboard.terminal_driver import PatientDriver

OLD, NEW = Size(156, 56), Size(120, 40)


class Probe(PatientDriver):
    """A driver without a terminal, of a size set by a test."""

    def __init__(self) -> None:
        self.size, self.sent = OLD, list[Message]()

    def _get_terminal_size(self) -> tuple[int, int]:
        return self.size

    def send_message(self, message: Message) -> None:
        self.sent.append(message)


def sizes(driver: Probe) -> list[Size]:
    return [message.size for message in driver.sent if isinstance(message, Resize)]


def test_a_size_that_was_lost_is_sent_again() -> None:
    # After a storm of resizes a screen once was drawn for the last size but one, for good.
    driver = Probe()
    driver.size = NEW
    driver.check_size(OLD)
    assert sizes(driver) == []  # the toolkit may be about to show it
    driver.check_size(OLD)
    assert sizes(driver) == [NEW]
    driver.check_size(NEW)
    driver.check_size(NEW)
    assert sizes(driver) == [NEW]


def test_a_size_that_changes_all_the_time_is_left_to_the_toolkit() -> None:
    driver = Probe()
    for columns in range(80, 90):
        driver.size = Size(columns, 24)
        driver.check_size(Size(columns - 1, 24))
    assert sizes(driver) == []
    driver.check_size(Size(89, 24))
    driver.check_size(Size(88, 24))
    assert sizes(driver) == []  # shown once in between: it begins anew
