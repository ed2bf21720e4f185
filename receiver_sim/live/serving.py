"""The live page served: a socket on loopback, a new token each time, until it is broken off."""

from __future__ import annotations

import contextlib
import secrets
import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn

from receiver_sim.engine import Bench
from receiver_sim.errors import UserError
from receiver_sim.live.app import application
from receiver_sim.live.work import Work

LOOPBACK = "127.0.0.1"


def serve(path: Path, *, quick: Bench, deep: Bench, port: int, ready: Callable[[str], None]) -> None:
    """Serve the live page of a build until Ctrl-C; `ready` is called with its address.

    port: 0 for any that is free. Raises BuildFaults, UserError for a port that is taken.
    """
    work = Work(path, quick=quick, deep=deep)
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((LOOPBACK, port))
        except OSError as error:
            raise UserError(f"--port {port}: {error.strerror}; leave it out for one that is free") from None
        at = listening.getsockname()[1]
        token = secrets.token_urlsafe(24)
        servers: list[uvicorn.Server] = []
        app = application(work, token=token, port=at, ending=lambda: any(one.should_exit for one in servers))
        config = uvicorn.Config(
            app, log_level="error", access_log=False, lifespan="off",
            server_header=False, timeout_graceful_shutdown=5, ws="none",
        )  # fmt: skip
        listening.listen(64)  # a browser that opens the address at once finds it
        ready(f"http://{LOOPBACK}:{at}/{token}/")
        servers.append(uvicorn.Server(config))
        with contextlib.suppress(KeyboardInterrupt):
            servers[0].run(sockets=[listening])
