"""The toolkit's terminal driver, which malformed input does not end."""

from textual.drivers.linux_driver import LinuxDriver


class PatientDriver(LinuxDriver):
    """Reads the terminal, and goes on after input that it cannot read.

    The toolkit ends the app on a byte that is not UTF-8 (a letter with an accent from a terminal
    set to Latin-1, noise on a serial line) and on a malformed key code. What was read with it, at
    most 4 KiB, is dropped.
    """

    def run_input_thread(self) -> None:
        """Read until the app ends."""
        while not self.exit_event.is_set():
            try:
                super().run_input_thread()
            except (ValueError, OverflowError):
                continue
