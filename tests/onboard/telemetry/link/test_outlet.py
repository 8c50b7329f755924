"""An outlet sends whole pieces as far as there is room, and none once it is closed."""

import threading

import pytest

from onboard.telemetry.link.outlet import Outlet


@pytest.mark.parametrize(
    ("room", "pieces", "gone", "dropped"),
    [
        # Bytes that each call of send takes.
        ([4, 4], [b"aaaa", b"bbbb"], b"aaaabbbb", 0),
        ([2, 2, 4], [b"aaaa", b"bbbb"], b"aaaabbbb", 0),
        ([2, 0, 1, 4, 4], [b"aaaa", b"bbbb", b"cccc", b"dddd"], b"aaaadddd", 8),
        ([0, 4], [b"aaaa", b"bbbb"], b"bbbb", 4),
    ],
)
def test_pieces_are_sent_whole_or_not_at_all(room, pieces, gone, dropped) -> None:
    left, sent = list(room), []

    def send(data: bytes) -> int:
        if not (most := left.pop(0)):
            raise BlockingIOError
        sent.append(data[:most])
        return len(sent[-1])

    outlet = Outlet(send, lambda: None)
    for piece in pieces:
        outlet.write(piece)
    assert b"".join(sent) == gone
    assert outlet.unsent_bytes == dropped
    assert left == []


def test_nothing_is_sent_while_or_after_an_outlet_closes() -> None:
    acts = []

    def send(data: bytes) -> int:
        closer.start()
        closer.join(0.02)
        acts.append("sent")
        return len(data)

    outlet = Outlet(send, lambda: acts.append("closed"))
    closer = threading.Thread(target=outlet.close)
    outlet.write(b"piece")
    closer.join()
    assert acts == ["sent", "closed"]
    with pytest.raises(OSError, match="file descriptor"):
        outlet.write(b"piece")
