"""A headless Chromium and the little of its protocol that these tests speak."""

import json
import re
import subprocess
import tempfile
from http.client import HTTPConnection
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from websockets.sync.client import ClientConnection, connect

# Nothing of it may look for the network.
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--remote-debugging-port=0",
)
ANSWERS_WITHIN_S = 30.0
NARROW = 600
DESKTOP = (1280, 900)
PHONE = (390, 844)


class Browser:
    """One browser process with a profile of its own."""

    def __init__(self, program: str) -> None:
        """Keep where the program lies."""
        self._program = program
        self._profile = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        self._windows: list[Window] = []

    def __enter__(self) -> Self:
        """Start it and wait until it says where it listens."""
        self._process = subprocess.Popen(
            [self._program, *FLAGS, f"--user-data-dir={self._profile.name}"],
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self._process.stderr is not None
        told = ""
        for line in self._process.stderr:
            told += line
            found = re.search(r"ws://[^:]+:(\d+)/", line)
            if found:
                self._port = int(found[1])
                return self
        raise AssertionError(told)

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        """End this very process."""
        for window in self._windows:
            window.close()
        self._process.terminate()
        self._process.wait()
        if self._process.stderr is not None:
            self._process.stderr.close()
        self._profile.cleanup()

    def window(self, width: int, height: int) -> "Window":
        """A new window of a size."""
        asking = HTTPConnection("127.0.0.1", self._port, timeout=ANSWERS_WITHIN_S)
        asking.request("PUT", "/json/new")
        address = json.load(asking.getresponse())["webSocketDebuggerUrl"]
        asking.close()
        window = Window(connect(address, max_size=None), (width, height))
        self._windows.append(window)
        return window


class Window:
    """One window: opens pages, answers questions, remembers what went wrong."""

    def __init__(self, connection: ClientConnection, size: tuple[int, int]) -> None:
        """Set the size and begin to listen."""
        self._connection = connection
        self._asked = 0
        self.events: list[dict[str, Any]] = []
        width, height = size
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=width < NARROW,
        )

    def call(self, method: str, **parameters: object) -> dict[str, Any]:
        """Ask one thing of the protocol and wait for its answer."""
        self._asked += 1
        asked = {"id": self._asked, "method": method, "params": parameters}
        self._connection.send(json.dumps(asked))
        while True:
            heard = self._hear()
            if heard.get("id") == self._asked:
                assert "error" not in heard, heard
                found = heard["result"]
                assert isinstance(found, dict)
                return found
            self.events.append(heard)

    def open(self, path: Path) -> None:
        """Open a file and wait until it is loaded; what was heard before is gone."""
        self.events.clear()
        self.call("Page.navigate", url=path.as_uri())
        while not any(e.get("method") == "Page.loadEventFired" for e in self.events):
            self.events.append(self._hear())

    def ask(self, function: str, *given: object) -> object:
        """What a function of the page's own script gives for some arguments."""
        arguments = ", ".join(json.dumps(one) for one in given)
        found = self.call(
            "Runtime.evaluate",
            expression=f"({function})({arguments})",
            returnByValue=True,
            awaitPromise=True,
        )
        assert "exceptionDetails" not in found, found
        result: object = found["result"].get("value")
        return result

    def complaints(self) -> list[dict[str, Any]]:
        """Errors and warnings of the console, and exceptions, since `open`."""
        kinds = (
            "Runtime.exceptionThrown",
            "Runtime.consoleAPICalled",
            "Log.entryAdded",
        )
        return [event for event in self.events if event.get("method") in kinds]

    def requests(self) -> list[str]:
        """Every address the page asked for since `open`."""
        return [
            str(event["params"]["request"]["url"])
            for event in self.events
            if event.get("method") == "Network.requestWillBeSent"
        ]

    def close(self) -> None:
        """Let go of the connection."""
        self._connection.close()

    def _hear(self) -> dict[str, Any]:
        heard = json.loads(self._connection.recv(ANSWERS_WITHIN_S))
        assert isinstance(heard, dict)
        return heard
