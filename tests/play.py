"""Runs asynchronous scenes."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

from tests.patience import PATIENCE_S


def play(scene: Callable[..., Awaitable[Any]], *arguments: Any) -> None:
    """Run a scene in a new event loop; only a hang makes it time out."""

    async def bounded() -> None:
        async with asyncio.timeout(PATIENCE_S):
            await scene(*arguments)

    asyncio.run(bounded())
