"""The toolkit's terminal driver, which malformed input does not end, nor a lost size confuse."""

from textual.drivers.linux_driver import LinuxDriver
from textual.events import Resize
from textual.geometry import Size


class PatientDriver(LinuxDriver):
    """Reads the terminal, and goes on after input that it cannot read.

    The toolkit ends the app on a byte that is not UTF-8 (a letter with an accent from a terminal
    set to Latin-1, noise on a serial line) and on a malformed key code. What was read with it, at
    most 4 KiB, is dropped.
    """

    _missed: Size | None = None

    def check_size(self, shown: Size) -> None:
        """Send the terminal's size again if twice in a row another one is shown.

        Two signals of a resize that come close together are handled one within the other, and the
        toolkit then keeps the older size.

        Parameters
        ----------
        shown
            The size that the app draws for.
        """
        size = Size(*self._get_terminal_size())
        if size == shown:
            self._missed = None
        elif size == self._missed:
            self._missed = None
            self.send_message(Resize(size, size))
        else:
            self._missed = size

    def run_input_thread(self) -> None:
        """Read until the app ends."""
        while not self.exit_event.is_set():
            try:
                super().run_input_thread()
            except (ValueError, OverflowError):
                continue
