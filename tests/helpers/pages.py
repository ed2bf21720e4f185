"""A page in headless Chromium, asked by the ids of its parts."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any


class Page:
    """A file that is open in the browser."""

    def __init__(self, browser: Any, file: Path) -> None:
        self._browser = browser
        self._log: list[str] = []
        browser.get_log("browser")
        browser.get_log("performance")
        browser.get(file.as_uri())

    def script(self, text: str, *values: Any) -> Any:
        return self._browser.execute_script(text, *values)

    def settle(self) -> None:
        time.sleep(0.3)

    def errors(self) -> list[str]:
        return [one["message"] for one in self._browser.get_log("browser") if one["level"] == "SEVERE"]

    def requests(self) -> list[str]:
        asked = []
        for one in self._browser.get_log("performance"):
            message = json.loads(one["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                asked.append(message["params"]["request"]["url"])
        return asked

    def band_index(self) -> int:
        return int(self.script("return document.getElementById('band').selectedIndex"))

    def set_range(self, name: str, value: float) -> None:
        self.script(
            "const e = document.getElementById(arguments[0]); e.value = arguments[1];"
            "e.dispatchEvent(new Event('input'))", name, value,
        )  # fmt: skip

    choose = set_range

    def press(self, name: str, keys: str) -> None:
        self._browser.find_element("id", name).send_keys(keys)

    def press_body(self, keys: str) -> None:
        self._browser.find_element("tag name", "body").send_keys(keys)

    def press_focused(self, key: str) -> None:
        """Press a key, by its name, on what has the focus; works for parts of a drawing, too."""
        for kind in ("keyDown", "keyUp"):
            self._browser.execute_cdp_cmd("Input.dispatchKeyEvent", {"type": kind, "key": key, "code": key})

    def click(self, name: str) -> None:
        self.script("document.getElementById(arguments[0]).click()", name)

    def size(self, width: int, height: int, scheme: str) -> None:
        self._browser.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600},
        )
        self._browser.execute_cdp_cmd(
            "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
        )

    def medium(self, name: str) -> None:
        """Show the page as on a 'screen' or in 'print'."""
        self._browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": name})

    def shot(self, file: Path) -> None:
        file.write_bytes(self._browser.get_screenshot_as_png())
