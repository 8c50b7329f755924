"""A whole run of the service in this process: what it saves at its end."""

import asyncio
from pathlib import Path

import pytest

from onboard.daemon.ending import Ending
from onboard.daemon.run_settings import Settings
from onboard.daemon.service import Service
from onboard.record.sessions import read_session
from onboard.restarts.session_book import SessionBook
from onboard.restarts.trip_keeper import TripKeeper
from onboard.ride.learned_file import load
from onboard.telemetry.link import link_reader
from tests.onboard.small_rides import PROFILE


@pytest.mark.parametrize("whole", [True, False])
def test_the_end_saves_only_complete_figures(tmp_path: Path, monkeypatch, whole: bool) -> None:
    monkeypatch.setattr(link_reader, "WAIT_S", 0.01)
    monkeypatch.setattr(TripKeeper, "is_whole", property(lambda _: whole))
    monkeypatch.setattr(SessionBook, "save_if_due", lambda *_: False)

    class Quiet(Ending):
        def listen(self, *_: object) -> None:
            """Leave the signals of the test run alone."""

    async def run() -> None:
        settings = Settings(PROFILE, "udpin:127.0.0.1:0", 57600, None, ("127.0.0.1", 0), tmp_path)
        service = Service(settings, Quiet())
        service.stop.set()
        await service.run()

    asyncio.run(run())
    assert (load(tmp_path) is not None) is whole
    (note,) = [read_session(one) for one in tmp_path.iterdir() if one.is_dir()]
    assert note is not None
    assert note.closed
