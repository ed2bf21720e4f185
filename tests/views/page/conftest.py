"""One page of an invented report, written once, and a browser without a window."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from receiver_sim import api
from receiver_sim.results.page import PageReport
from receiver_sim.schema import Build
from tests.helpers import invented_page

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-dev-shm-usage", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--mute-audio", "--autoplay-policy=no-user-gesture-required", "--hide-scrollbars",
    "--disable-extensions",
)  # fmt: skip


class Made(NamedTuple):
    report: PageReport
    build: Build
    file: Path


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    build, report = api.shipped_build("demo"), invented_page.report()
    file = tmp_path_factory.mktemp("page") / "set.html"
    file.write_bytes(api.page_html(report, build, api.draw(build)))
    return Made(report, build, file)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium without a window, of the system: nothing is fetched."""
    webdriver = pytest.importorskip("selenium.webdriver")
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if chromium is None or driver is None:
        if os.environ.get("CI"):
            pytest.fail("chromium or chromedriver is missing; setup.sh test installs them")
        pytest.skip("no chromium on this system")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in FLAGS:
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    one = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    one.set_page_load_timeout(60)
    yield one
    one.quit()
