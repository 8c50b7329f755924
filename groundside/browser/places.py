"""The places for dashboards: each is shown in a browser tab, or waits for its tab to come back.

A phone that was locked, went to sleep or sailed out of reach finds its dashboard as it was, because
the process waits for a while. It waits only for that tab, and for the same member of the crew. A
newcomer who finds all places taken gets that of whoever has waited longest.
"""

import asyncio
import contextlib
import re
from collections.abc import AsyncIterator, Collection, Sequence

from groundside.browser.dashboard_process import CLOSE_REVOKED, DashboardProcess
from onboard.crew.members import VIEWER, Member

WAITS_S = 180.0
"""How long a dashboard waits for its tab [s]. Common practice, no source."""
TAB = re.compile(r"[0-9a-f]{32}")
"""The name that a tab gives itself: 128 random bits, made by the page."""


class Places:
    """The running dashboards.

    Parameters
    ----------
    most
        Limit on their number, waiting ones included.
    waits_s
        How long one waits for its tab [s].
    """

    def __init__(self, most: int, waits_s: float = WAITS_S) -> None:
        self.most = most
        self._waits_s = waits_s
        self._running: dict[DashboardProcess, int] = {}
        """The number of websockets of each."""
        self._waiting: dict[DashboardProcess, asyncio.TimerHandle] = {}
        """Those without a websocket, the one that has waited longest first."""
        self._ending: set[asyncio.Task[None]] = set()
        self._closed = False

    def free(self, member: Member | None, tab: str = "") -> int:
        """Return the number of places open to a tab, its own and waiting ones included.

        The last is reserved for members who may do more than view.
        """
        reserved = 1 if member is not None and member.role == VIEWER and self.most > 1 else 0
        own = self._of(member, tab)
        taken = sum(one not in self._waiting and one is not own for one in self._running)
        return max(self.most - reserved - taken, 0)

    def _of(self, member: Member | None, tab: str) -> DashboardProcess | None:
        """Return the running dashboard of a member's tab."""
        found = (one for one in self._running if tab and (one.member, one.tab) == (member, tab))
        return next((one for one in found if not one.is_over), None)

    @contextlib.asynccontextmanager
    async def dashboard_for(
        self, member: Member | None, tab: str, command: Sequence[str]
    ) -> AsyncIterator[DashboardProcess | None]:
        """Yield the dashboard of a member's tab, or a new one to start; None if no place is free.

        When the context exits, the dashboard waits for its tab.

        Parameters
        ----------
        member
            Who asks; None on a page that is open to all.
        tab
            The name that the tab gave itself; empty if it has none: its dashboard does not wait.
        command
            The command line of a new dashboard.
        """
        if self._closed or self.free(member, tab) <= 0:
            yield None
            return
        dashboard = self._of(member, tab) or DashboardProcess(command, member, tab)
        self._running[dashboard] = self._running.get(dashboard, 0) + 1
        if dashboard in self._waiting:
            self._waiting.pop(dashboard).cancel()
        try:
            if len(self._running) > self.most:
                await self._end(next(iter(self._waiting)))
            yield dashboard
        finally:
            await self._leave(dashboard)

    async def _leave(self, dashboard: DashboardProcess) -> None:
        """Have a dashboard without websockets wait for its tab, or end it."""
        self._running[dashboard] -= 1
        if self._running[dashboard] > 0:
            return
        if self._closed or not dashboard.tab or dashboard.is_over:
            await self._end(dashboard)
            return
        loop = asyncio.get_running_loop()
        self._waiting[dashboard] = loop.call_later(self._waits_s, self._give_up, dashboard)

    def _give_up(self, dashboard: DashboardProcess) -> None:
        task = asyncio.get_running_loop().create_task(self._end(dashboard))
        self._ending.add(task)
        task.add_done_callback(self._ending.discard)

    async def _end(self, dashboard: DashboardProcess) -> None:
        if dashboard in self._waiting:
            self._waiting.pop(dashboard).cancel()
        try:
            await dashboard.end()
        finally:
            self._running.pop(dashboard, None)  # only now: its place is free once its memory is

    async def end_revoked(self, members: Collection[Member]) -> None:
        """Close the websockets of those no longer in the crew; end dashboards waiting for them."""
        revoked = [one for one in self._running if one.member not in members]
        await asyncio.gather(*(self._revoke(one) for one in revoked))

    async def _revoke(self, dashboard: DashboardProcess) -> None:
        socket = dashboard.socket
        if dashboard in self._waiting:
            await self._end(dashboard)
        elif socket is not None and socket.prepared:
            dashboard.tab = ""  # ends with its websocket
            await socket.close(code=CLOSE_REVOKED)

    async def end_all(self) -> None:
        """Close all websockets, end all waiting dashboards, and admit nobody from now on."""
        self._closed = True
        sockets = [one.socket for one in self._running if one.socket is not None]
        waiting = [self._end(one) for one in list(self._waiting)]
        await asyncio.gather(*(socket.close() for socket in sockets), *waiting, *self._ending)
