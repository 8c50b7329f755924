"""Bytes cut into lines, wherever they were cut before; no line grows beyond all measure."""


class LineSplitter:
    """Cuts bytes into lines and drops a line that is longer than allowed.

    Parameters
    ----------
    longest_bytes
        The most that a line may have, its end not counted.
    """

    def __init__(self, longest_bytes: int) -> None:
        self.longest_bytes = longest_bytes
        self.oversized_lines = 0
        self._rest = bytearray()
        self._dropping = False

    def feed(self, data: bytes) -> list[bytes]:
        """Return the lines that these bytes complete, without their ends."""
        *ended, rest = data.split(b"\n")
        lines = []
        for piece in ended:
            self._take(piece)
            if self._dropping:
                self._dropping = False
            else:
                lines.append(bytes(self._rest))
            self._rest.clear()
        self._take(rest)
        return lines

    def _take(self, piece: bytes) -> None:
        if self._dropping:
            return
        if len(self._rest) + len(piece) > self.longest_bytes:
            self.oversized_lines += 1
            self._dropping = True
            self._rest.clear()
        else:
            self._rest += piece
