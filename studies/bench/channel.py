"""What happens on the bench, told to every page that is open."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from threading import Lock
from typing import Any

MOST_WAITING = 100
"""Messages that a page may be behind: what is older has been overtaken anyway."""
HEARTBEAT_S = 15.0


class Channel:
    """Messages from any thread to the pages, as server-sent events.

    Attributes
    ----------
    told : int
        Messages so far; each carries its number, so that a page can tell what is older.
    """

    def __init__(self) -> None:
        self._listeners: dict[asyncio.Queue[str | None], asyncio.AbstractEventLoop] = {}
        self._lock = Lock()
        self._closed = False
        self.told = 0

    def tell(self, kind: str, data: Any) -> None:
        """Send one message to every open page."""
        text = json.dumps(data, allow_nan=False)
        with self._lock:
            self.told += 1
            message = f"id: {self.told}\nevent: {kind}\ndata: {text}\n\n"
            for queue, loop in self._listeners.items():
                loop.call_soon_threadsafe(_put, queue, message)

    def close(self) -> None:
        """End every stream."""
        with self._lock:
            self._closed = True
            listeners = list(self._listeners.items())
        for queue, loop in listeners:
            loop.call_soon_threadsafe(_put, queue, None)

    async def stream(self) -> AsyncIterator[str]:
        """All messages from now on, and a sign of life where there are none."""
        queue: asyncio.Queue[str | None] = asyncio.Queue()
        with self._lock:
            self._listeners[queue] = asyncio.get_running_loop()
        try:
            yield ": here\n\n"
            while not self._closed:
                try:
                    message = await asyncio.wait_for(queue.get(), HEARTBEAT_S)
                except TimeoutError:
                    message = ": here\n\n"
                if message is None:
                    return
                yield message
        finally:
            with self._lock:
                self._listeners.pop(queue, None)


def _put(queue: asyncio.Queue[str | None], message: str | None) -> None:
    while queue.qsize() >= MOST_WAITING:
        queue.get_nowait()
    queue.put_nowait(message)
