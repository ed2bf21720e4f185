"""Where the live page is served and under which address: a socket on loopback, a secret of its own each time.

No server runs: what uvicorn would be given is looked at.
"""

from __future__ import annotations

import re
import socket
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from receiver_sim.errors import UserError
from receiver_sim.live import serving
from receiver_sim.schema import BuildFaults

NOBODY: Any = None
"""In the place of a bench and of a build: nothing is asked of them."""


class Seen:
    """What was served, and how."""

    def __init__(self) -> None:
        self.address = ""
        self.config: dict[str, Any] = {}
        self.given: dict[str, Any] = {}
        self.at: tuple[str, int] = ("", 0)
        self.connected = False
        self.servers: list[SimpleNamespace] = []


@pytest.fixture
def serve(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Seen]:
    """Serve once, up to where the server would run; `run` is called in its place."""

    def once(port: int = 0, run: Callable[[], None] = lambda: None, path: Path = Path("x.yaml")) -> Seen:
        seen = Seen()

        def application(work: Any, **given: Any) -> str:
            seen.given = {"work": work, **given}
            return "the application"

        def config(app: str, **given: Any) -> str:
            seen.config = {"app": app, **given}
            return "the config"

        def server(_config: str) -> SimpleNamespace:
            def runs(sockets: list[socket.socket]) -> None:
                seen.at = sockets[0].getsockname()
                run()

            seen.servers.append(SimpleNamespace(should_exit=False, run=runs))
            return seen.servers[-1]

        def ready(address: str) -> None:
            seen.address = address
            with socket.create_connection((serving.LOOPBACK, parts(address)[1]), 5):
                seen.connected = True

        monkeypatch.setattr(serving, "application", application)
        monkeypatch.setattr(serving, "uvicorn", SimpleNamespace(Config=config, Server=server))
        serving.serve(path, quick=NOBODY, deep=NOBODY, port=port, ready=ready)
        return seen

    return once


@pytest.fixture
def no_build(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serving, "Work", lambda path, **_: f"work on {path}")


def parts(address: str) -> tuple[str, int, str]:
    """Return host, port and secret of an address."""
    found = re.fullmatch(r"http://([^/:]+):(\d+)/([A-Za-z0-9_-]+)/", address)
    assert found is not None, address
    return found[1], int(found[2]), found[3]


@pytest.mark.usefixtures("no_build")
def test_the_secret_of_the_address_is_beyond_guessing(serve: Callable[..., Seen]) -> None:
    """RFC 6749, section 10.10: a guess succeeds with at most one in 2^128. A character of this alphabet of 64
    is worth six bits (RFC 4648, section 5); those of several runs differ throughout.
    """
    secrets = [parts(serve().address)[2] for _ in range(8)]
    assert all(6 * len(one) >= 128 for one in secrets)
    assert len(set(secrets)) == 8
    # neither a fixed beginning nor a fixed end: of eight, no place has one letter throughout (64^-7)
    assert all(len(set(letters)) > 1 for letters in zip(*secrets, strict=True))


@pytest.mark.usefixtures("no_build")
def test_it_listens_on_loopback_alone_at_the_address_that_is_told(serve: Callable[..., Seen]) -> None:
    seen = serve()
    host, port, secret = parts(seen.address)
    assert host == "127.0.0.1" and seen.at == (host, port)
    assert (seen.given["token"], seen.given["port"]) == (secret, port)
    assert seen.given["work"] == "work on x.yaml"


@pytest.mark.usefixtures("no_build")
def test_a_browser_that_opens_the_address_at_once_finds_it(serve: Callable[..., Seen]) -> None:
    assert serve().connected


@pytest.mark.usefixtures("no_build")
def test_the_port_asked_for_is_taken_and_one_in_use_is_refused(serve: Callable[..., Seen]) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    assert parts(serve(port).address)[1] == port
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen(1)
        port = taken.getsockname()[1]
        with pytest.raises(UserError) as raised:
            serve(port)
    assert str(raised.value) == f"--port {port}: Address already in use; leave it out for one that is free"


@pytest.mark.usefixtures("no_build")
def test_the_address_is_written_to_no_log_and_nothing_is_told_of_the_server(
    serve: Callable[..., Seen],
) -> None:
    """A line a request would hold the secret; web sockets would pass by the guard."""
    config = serve().config
    assert config["app"] == "the application"
    assert config["access_log"] is False and config["server_header"] is False
    assert config["ws"] == "none" and config["log_level"] == "error"


@pytest.mark.usefixtures("no_build")
def test_open_pages_learn_that_it_ends(serve: Callable[..., Seen]) -> None:
    seen = serve()
    assert seen.given["ending"]() is False
    seen.servers[0].should_exit = True
    assert seen.given["ending"]() is True


@pytest.mark.usefixtures("no_build")
def test_ctrl_c_ends_it_without_an_error_and_frees_the_port(serve: Callable[..., Seen]) -> None:
    def interrupted() -> None:
        raise KeyboardInterrupt

    seen = serve(run=interrupted)
    with socket.socket() as again:
        again.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        again.bind(seen.at)


def test_a_faulty_build_has_no_address(serve: Callable[..., Seen], tmp_path: Path) -> None:
    file = tmp_path / "faulty.yaml"
    file.write_text("title: nothing else\n", encoding="utf-8")
    told: list[str] = []
    with pytest.raises(BuildFaults):
        serving.serve(file, quick=NOBODY, deep=NOBODY, port=0, ready=told.append)
    assert told == []
