"""A serial device that returns under another name is found by its persistent one."""

import os
import pty
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from onboard.errors import LinkError
from onboard.telemetry.link.reopening import Reopener


class Plug:
    """A pseudo-terminal with a device name and a persistent name, as given by the system."""

    def __init__(self, folder: Path) -> None:
        self.device, self.names = folder / "ttyUSB0", folder / "by-id"
        self.names.mkdir()
        self._open: list[int] = []

    def plug_in(self, name: str) -> Path:
        far, near = pty.openpty()
        tty.setraw(near)
        self._open += [far, near]
        device = self.device.with_name(name)
        device.symlink_to(os.ttyname(near))
        persistent = self.names / "usb-radio-0001"
        persistent.unlink(missing_ok=True)
        persistent.symlink_to(device)
        return device

    def unplug(self) -> None:
        for descriptor in self._open:
            os.close(descriptor)
        self._open.clear()
        for device in self.device.parent.glob("ttyUSB*"):
            device.unlink()


@pytest.fixture
def plug(tmp_path: Path) -> Iterator[Plug]:
    made = Plug(tmp_path)
    yield made
    made.unplug()


def test_the_same_device_returns_under_another_name(plug: Plug) -> None:
    first = plug.plug_in("ttyUSB0")
    reopen = Reopener(str(first), 57600, plug.names)
    link = reopen()
    assert link.name == str(first)
    link.close()
    plug.unplug()
    with pytest.raises(LinkError):
        reopen()
    plug.plug_in("ttyUSB3")
    again = reopen()
    assert again.name == str(plug.names / "usb-radio-0001")
    again.close()


def test_a_device_without_a_persistent_name_is_awaited(plug: Plug) -> None:
    first = plug.plug_in("ttyUSB0")
    reopen = Reopener(str(first), 57600, plug.names / "nowhere")
    reopen().close()
    plug.unplug()
    with pytest.raises(LinkError, match="no such serial device"):
        reopen()
    plug.plug_in("ttyUSB0")
    reopen().close()
