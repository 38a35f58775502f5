"""The bench's server: on this machine only, until Ctrl-C or the page ends it.

The one place besides the cluster that opens a socket: it listens on the loopback addresses and
calls nobody.
"""

from __future__ import annotations

import contextlib
import os
import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from dispersion.bounded import UnreadableError, bytes_of
from studies.bench.app import app_of
from studies.bench.desk import Edition
from studies.bench.folder import FolderError
from studies.bench.guard import Guard, Pass
from studies.bench.workbench import Workbench
from studies.design.reading import LARGEST_DESIGN
from studies.solving.options import SolverOptions

LOOPBACK = ((socket.AF_INET, "127.0.0.1"), (socket.AF_INET6, "::1"))
GRACE_S = 3


def serve(
    design: Path | None,
    solving: SolverOptions,
    *,
    port: int = 0,
    open_page: bool = True,
    allow_outside: bool = False,
    say: Callable[[str], None] = print,
) -> None:
    """Run a bench until it is ended.

    Parameters
    ----------
    design : Path or None
        What to begin with; its folder is the bench's, else the current one.
    solving : SolverOptions
    port : int
        0: any that is free.
    open_page : bool
        Whether to open the default browser.
    allow_outside : bool
        Whether files that the design names may lie outside of its folder.
    say : callable
        Given sentences for the terminal.
    """
    text = None if design is None else _text_of(design)
    folder = Path()
    if design is not None and design.parent != folder:
        os.chdir(design.parent)
    with contextlib.ExitStack() as until_end:
        sockets = _listening(port)
        for one in sockets:
            until_end.enter_context(one)
        let_in = Pass(sockets[0].getsockname()[1])
        holder: list[uvicorn.Server] = []
        bench = Workbench(folder, solving, lambda: _stop(holder))
        until_end.callback(bench.close)
        if text is not None and design is not None:
            bench.lay(Edition(text, folder / design.name, allow_outside))
        config = uvicorn.Config(
            Guard(app_of(bench), let_in),
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            lifespan="off",
            timeout_graceful_shutdown=GRACE_S,
            http="h11",
            ws="none",
        )
        holder.append(_Server(config, bench))
        say(f"The bench: {let_in.address}")
        say("Only this machine and only this address can reach it. Ctrl-C, or End on the page.")
        if open_page:
            webbrowser.open(let_in.address)
        with contextlib.suppress(KeyboardInterrupt):
            holder[0].run(sockets)


class _Server(uvicorn.Server):
    """Ends the streams of open pages before it waits for them."""

    def __init__(self, config: uvicorn.Config, bench: Workbench) -> None:
        super().__init__(config)
        self._bench = bench

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._bench.channel.close()
        await super().shutdown(sockets)


def _stop(servers: list[uvicorn.Server]) -> None:
    for server in servers:
        server.should_exit = True


def _listening(port: int) -> list[socket.socket]:
    """Sockets on the loopback addresses, of the same port; IPv6 where the machine has it."""
    found: list[socket.socket] = []
    for family, host in LOOPBACK:
        one = socket.socket(family, socket.SOCK_STREAM)
        try:
            one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            if family == socket.AF_INET6:
                one.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
            one.bind((host, port))
            one.listen()
        except OSError:
            one.close()
            if not found:
                raise
        else:
            found.append(one)
            port = one.getsockname()[1]
    return found


def _text_of(path: Path) -> str:
    try:
        return bytes_of(path, LARGEST_DESIGN).decode("utf-8-sig")
    except UnreadableError as error:
        raise FolderError(f"{path} {error}") from error
    except UnicodeDecodeError as error:
        raise FolderError(f"{path} is not UTF-8 text: save the file as UTF-8") from error
