"""One headless Chromium for many pages, spoken to over a pipe; nothing but the standard library.

The protocol is the browser's own for debugging: JSON messages, each ended by a zero byte.
"""

from __future__ import annotations

import base64
import fcntl
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

BROWSER = next(
    (
        found
        for name in ("chromium", "chromium-browser", "google-chrome")
        if (found := shutil.which(name))
    ),
    None,
)
# The browser reads orders on descriptor 3 and writes answers on 4.
READS, WRITES = 3, 4


class Chromium:
    """A running browser; pages are opened one at a time."""

    def __init__(self, profile: Path) -> None:
        assert BROWSER is not None
        reads, self._orders = os.pipe()
        self._answers, writes = os.pipe()
        command = [
            BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic",
            "--no-first-run", "--disable-background-networking", "--disable-component-update",
            "--disable-sync", "--hide-scrollbars", "--host-resolver-rules=MAP * ~NOTFOUND",
            f"--user-data-dir={profile}", "--remote-debugging-pipe", "about:blank",
        ]  # fmt: skip
        # Descriptors far from those that the browser looks at, lest one overwrites another.
        to_read, to_write = (fcntl.fcntl(fd, fcntl.F_DUPFD, 20) for fd in (reads, writes))
        silence = [(os.POSIX_SPAWN_OPEN, fd, os.devnull, os.O_WRONLY, 0) for fd in (1, 2)]
        pipes = [
            (os.POSIX_SPAWN_DUP2, to_read, READS),
            (os.POSIX_SPAWN_DUP2, to_write, WRITES),
        ]
        self._pid = os.posix_spawn(BROWSER, command, os.environ, file_actions=[*silence, *pipes])
        for fd in (reads, writes, to_read, to_write):
            os.close(fd)
        self._buffer = b""
        self._number = 0
        self.events: list[dict[str, Any]] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, what: BaseException | None, at: TracebackType | None
    ) -> None:
        self.order("Browser.close")
        os.waitpid(self._pid, 0)
        os.close(self._orders)
        os.close(self._answers)

    def order(self, method: str, session: str | None = None, **params: Any) -> dict[str, Any]:
        """Give an order and wait for its answer; events on the way are kept."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": params}
        if session:
            message["sessionId"] = session
        os.write(self._orders, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") != self._number:
                self.events.append(answer)
                continue
            assert "error" not in answer, answer["error"]
            result: dict[str, Any] = answer["result"]
            return result

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            got = os.read(self._answers, 1 << 16)
            assert got, "the browser has gone"
            self._buffer += got
        message, _, self._buffer = self._buffer.partition(b"\0")
        answer: dict[str, Any] = json.loads(message)
        return answer

    @contextmanager
    def page(self, address: str, width: int = 1280, height: int = 900) -> Iterator[Page]:
        """Open a page, and close it afterwards."""
        target = self.order("Target.createTarget", url="about:blank")["targetId"]
        session = self.order("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        page = Page(self, session)
        for domain in ("Page", "Runtime", "Log", "Network"):
            page.order(f"{domain}.enable")
        page.size(width, height)
        page.go(address)
        yield page
        self.order("Target.closeTarget", targetId=target)


class Page:
    """One open page."""

    def __init__(self, browser: Chromium, session: str) -> None:
        self._browser = browser
        self._session = session

    def order(self, method: str, **params: Any) -> dict[str, Any]:
        """Give the page an order."""
        return self._browser.order(method, self._session, **params)

    def size(self, width: int, height: int) -> None:
        """Set the size of the window, CSS pixels."""
        self.order(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=1, mobile=False,
        )  # fmt: skip

    def go(self, address: str) -> None:
        """Go to an address and wait until it is there."""
        self.order("Page.navigate", url=address)
        self.run(
            "new Promise((done) => document.readyState === 'complete' && location.href !== "
            "'about:blank' ? done() : addEventListener('load', () => done()))"
        )

    def run(self, script: str) -> Any:
        """Evaluate an expression on the page, a promise to its end; give its value."""
        answer = self.order(
            "Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True
        )
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def press(self, key: str, times: int = 1) -> None:
        """Press a key that has no sign of its own."""
        for _ in range(times):
            for kind in ("rawKeyDown", "keyUp"):
                self.order("Input.dispatchKeyEvent", type=kind, key=key, code=key)

    def print_pdf(self) -> bytes:
        """Print the page on A4, as its own rules say."""
        answer = self.order("Page.printToPDF", preferCSSPageSize=True, printBackground=True)
        return base64.b64decode(answer["data"])

    def picture(self) -> bytes:
        """Take a picture of the whole page, a PNG."""
        size = self.order("Page.getLayoutMetrics")["cssContentSize"]
        clip = {"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1}
        answer = self.order("Page.captureScreenshot", clip=clip, captureBeyondViewport=True)
        return base64.b64decode(answer["data"])

    def complaints(self) -> list[str]:
        """Give every error and warning that the page put on the console so far."""
        own = [one for one in self._browser.events if one.get("sessionId") == self._session]
        said = []
        for event in own:
            params = event["params"]
            if event["method"] == "Runtime.exceptionThrown":
                said.append(json.dumps(params["exceptionDetails"])[:300])
            elif event["method"] == "Runtime.consoleAPICalled":
                said.append(json.dumps(params["args"])[:300])
            elif event["method"] == "Log.entryAdded":
                said.append(params["entry"]["text"])
        return said

    def requests(self) -> list[str]:
        """Give the addresses that the page asked for beside its own."""
        own = [one for one in self._browser.events if one.get("sessionId") == self._session]
        asked = [
            one["params"]["request"]["url"]
            for one in own
            if one["method"] == "Network.requestWillBeSent"
        ]
        return [url for url in asked if not url.startswith(("file:", "data:", "about:"))]
