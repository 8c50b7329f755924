"""The scenes of the README's pictures: places in a sample log, live or as a replay."""

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

from groundside.connection.commands import CommandResult
from groundside.connection.source import ReplayState, Update
from groundside.dashboard.app import make_app
from groundside.dashboard.pictures.screen_svg import screen_svg
from groundside.dashboard.themes import THEMES
from groundside.demo.bundled import bundled_file
from groundside.replay.playback import Playback, start_playback
from groundside.replay.seek_index import SeekIndex
from groundside.words.units import CHOICES
from onboard.contract.commands import Command
from onboard.dataclass import dataclass
from onboard.efficiency.advice.target import Aim
from onboard.profile import load_profile

FOLDER = Path(__file__).parent
LOG, PROFILE = "harbour_loop.tlog", "harbour_loop.toml"
PHONE, LAPTOP = (40, 22), (120, 40)
TARGET_M = 12_000.0


@dataclass(frozen=True)
class Scene:
    """A picture: its name, view, screen and theme, and the place in the log [s].

    Parameters
    ----------
    words
        What it shows, for those who cannot see it.
    replay
        Whether it is a replay of the whole ride; otherwise the ride is live.
    """

    name: str
    view: str
    size: tuple[int, int]
    theme: str
    place_s: float
    words: str
    replay: bool = False


SCENES = (
    Scene("phone-ride", "ride", PHONE, "sun", 290.0, "The ride view on a phone: ease."),
    Scene("phone-track", "track", PHONE, "sun", 420.0, "The track on a phone."),
    Scene("phone-home", "home", PHONE, "sun", 420.0, "The way home on a phone."),
    Scene("phone-night", "ride", PHONE, "night", 620.0, "The ride view on a phone at night."),
    Scene(
        "laptop-ride", "ride", LAPTOP, "sun", 290.0,
        "The wide screen in a replay: figures, curve, track, way home and the trip.", replay=True,
    ),
    Scene("laptop-trip", "trip", LAPTOP, "sun", 420.0, "The trip on a laptop.", replay=True),
)  # fmt: skip


class Nowhere:
    """Replay controls and a command sender that do nothing."""

    def pause_or_go(self) -> None:
        """Do nothing."""

    faster = slower = event_before = pause_or_go

    def jump(self, _seconds_s: float) -> None:
        """Do nothing."""

    go_to = go_to_distance = jump

    def next_event(self) -> bool:
        """Return False: there is none."""
        return False

    async def send(self, _command: Command) -> CommandResult:
        """Do nothing."""
        return CommandResult(True)


class Still:
    """A source of one update: a ride that stands still."""

    def __init__(self, update: Update) -> None:
        self.name = LOG
        self._update = update
        live = update.replay is None
        self.controls = self.seek_controls = None if live else Nowhere()
        self.command_sender = Nowhere() if live else None

    async def stream(self) -> AsyncIterator[Update]:
        """Yield the one update."""
        yield self._update
        await asyncio.Event().wait()


def update_of(scene: Scene) -> Update:
    """Return the update at a scene's place in the sample log."""
    profile = load_profile(bundled_file(PROFILE))
    start, duration_s = start_playback(bundled_file(LOG), profile, None, Aim(distance_m=TARGET_M))
    playback: Playback = start.copied()
    playback.advance(scene.place_s)
    snapshot = playback.ride.snapshot("udpin:0.0.0.0:14550", age_s=0.1)
    if not scene.replay:
        return Update(snapshot, trip_line=playback.ride.engine.trip_line)
    index = SeekIndex(start, duration_s)
    index.start()
    index.wait()
    replay = ReplayState(4.0, True, scene.place_s, duration_s, 1.0, index.events)
    return Update(snapshot, trip_line=index.trip_line, replay=replay)


async def draw(scene: Scene) -> str:
    """Return the picture of a scene as SVG."""
    app = make_app(Still(update_of(scene)), units=CHOICES["km/h"], clock=lambda: 1000.0)
    async with app.run_test(size=scene.size) as pilot:
        app.theme = scene.theme
        app.action_caution_read()
        app.action_view(scene.view)
        for _ in range(4):
            await pilot.pause()
            app.tick()
        await pilot.pause()
        paper = next(theme.background for theme in THEMES if theme.name == scene.theme)
        # The toolkit has no public way to read a screen.
        return screen_svg(app.screen._compositor.render_strips(), paper or "", scene.words)
