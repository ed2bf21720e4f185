"""The live page, served from this process as the verb serves it, and a client that asks as a browser does."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from receiver_sim.api import _page
from receiver_sim.circuit.signals import Signal
from receiver_sim.engine import Bench
from receiver_sim.live import serving
from tests.conftest import BUILDS
from tests.helpers.lending import cut

HEADERS = {"Content-Type": "application/json"}


class Served:
    """A served page: its address, its build, its benches."""

    def __init__(self, folder: Path, build: Path) -> None:
        self.folder, self.build = folder, build
        self.text = build.read_text(encoding="utf-8")
        self.quick, self.deep = Bench(workers=2), Bench(workers=2)
        self.address = ""
        self._ready = threading.Event()
        self._server: Any = None

    def start(self) -> None:
        def ready(address: str) -> None:
            self.address = address
            self._ready.set()

        real = serving.uvicorn.Server

        def kept(config: Any) -> Any:
            self._server = real(config)
            self._server.install_signal_handlers = lambda: None
            return self._server

        serving.uvicorn.Server = kept  # to be able to end it from here
        self._thread = threading.Thread(
            target=serving.serve, args=(self.build,),
            kwargs={"quick": self.quick, "deep": self.deep, "port": 0, "ready": ready}, daemon=True,
        )  # fmt: skip
        self._thread.start()
        assert self._ready.wait(60)
        while self._server is None or not self._server.started:
            time.sleep(0.05)
        serving.uvicorn.Server = real

    def stop(self) -> None:
        self._server.should_exit = True
        self._thread.join(30)
        self.quick.close()
        self.deep.close()

    @property
    def host(self) -> str:
        return self.address.split("/")[2]

    def post(self, what: str, body: Any, **headers: str) -> httpx.Response:
        sent = {**HEADERS, "Origin": f"http://{self.host}", **headers}
        return httpx.post(self.address + what, content=json.dumps(body), headers=sent, timeout=300)

    def answer(
        self, path: list[Any] | None = None, value: str = "", text: str | None = None
    ) -> httpx.Response:
        change = None if path is None else {"path": path, "value": value}
        return self.post("answer", {"text": self.text if text is None else text, "change": change})


@pytest.fixture
def short_sounds(monkeypatch: pytest.MonkeyPatch) -> None:
    """One short piece of code, 700 Hz off, just beyond onset, in the place of all pieces: 0.3 s of it."""
    code = Signal(50e-6, 700.0, start_s=0.02)
    tunes = [_page._Tune("code", 1.03, 0.3, code, None, 700.0, 700.0)]
    monkeypatch.setattr(_page, "_tunes", lambda: tunes)


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("live")
    one = Served(folder, Path(cut(str(BUILDS / "demo.yaml"), folder, 2)))
    one.start()
    yield one
    one.stop()
