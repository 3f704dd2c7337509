"""Messages for people who do not look at MQTT.

Floor 6. One subject: sending beside the loop. Laws here: a thread of its own with a
bounded queue, so that nothing slow or broken blocks a decision; each message is sent by
a process of its own that may be ended; no address is read, kept or logged here.
"""

import json
import subprocess
import sys
import threading
from collections import Counter, deque
from collections.abc import Callable
from pathlib import Path

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater.facts.alarms import Priority, is_more_pressing
from slackwater.outside.wire import NotifySettings

MESSAGE_SENT = "message_sent"
MESSAGE_NOT_SENT = "message_not_sent"
# More than can be told in an hour; then the oldest is given up.
WAITING_AT_MOST = 64
# A service that takes longer than this does not answer at all.
SEND_S = 60.0
# So long a daemon that ends waits for what is still to be sent.
LEAVE_S = 5.0
# Beside the ends of `posting`.
TOO_SLOW, NOT_STARTED = -1, -2
# What the ends mean; which module says so is a process away.
WHY = {
    3: "an address did not take it",
    4: "the package for it is not installed",
    5: "the file of addresses cannot be used",
    6: "the message could not be read",
    TOO_SLOW: "it took too long",
    NOT_STARTED: "the process could not be started",
}
_PROGRAM = Path(__file__).with_name("posting.py")

Send = Callable[[Path, bytes], int]

_log: FilteringBoundLogger = structlog.get_logger()


def send_by_process(urls: Path, message: bytes) -> int:
    """Let a process of its own send one message; 0 when every address took it."""
    # Isolated, so that neither the working directory nor the environment chooses code.
    command = [sys.executable, "-I", str(_PROGRAM), str(urls)]
    try:
        done = subprocess.run(  # noqa: S603 -- our own program, by path
            command,
            input=message,
            stdout=subprocess.DEVNULL,
            # Its words may hold an address, which is a secret.
            stderr=subprocess.DEVNULL,
            timeout=SEND_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return TOO_SLOW
    except OSError:
        return NOT_STARTED
    return done.returncode


class Nobody:
    """Sends nothing: nobody said where to."""

    def tell(self, title: str, body: str, priority: Priority | None = None) -> None:
        """Send nothing."""

    def close(self) -> None:
        """Nothing waits."""


class Post:
    """Sends messages one after the other; never blocks whoever tells."""

    def __init__(self, settings: NotifySettings, send: Send = send_by_process) -> None:
        """Keep where addresses stand; `start` begins."""
        self._settings = settings
        self._send = send
        self._waiting: deque[tuple[str, bytes]] = deque()
        self._counts: Counter[str] = Counter()
        self._changed = threading.Condition()
        self._is_leaving = False
        self._thread: threading.Thread | None = None

    @property
    def counts(self) -> dict[str, int]:
        """How many messages were sent, not sent, or given up."""
        return dict(self._counts)

    def start(self) -> None:
        """Begin sending in a thread of its own."""
        # A daemon that ends does not wait for a service that does not answer.
        thread = threading.Thread(target=self._work, name="post", daemon=True)
        self._thread = thread
        thread.start()

    def tell(self, title: str, body: str, priority: Priority | None = None) -> None:
        """Send this when its turn comes; what presses less than is wanted is not.

        Without a priority it is sent always.
        """
        if priority is not None and is_more_pressing(self._settings.least, priority):
            return
        message = json.dumps({"title": f"Slackwater, {title}", "body": body}).encode()
        with self._changed:
            while len(self._waiting) >= WAITING_AT_MOST:
                self._waiting.popleft()
                self._counts["given up"] += 1
            self._waiting.append((title, message))
            self._changed.notify()

    def close(self) -> None:
        """Send what waits, for a few seconds at most."""
        with self._changed:
            self._is_leaving = True
            self._changed.notify()
        if self._thread is not None:
            self._thread.join(LEAVE_S)
            self._thread = None

    def _work(self) -> None:
        while (message := self._next()) is not None:
            title, payload = message
            self._note(title, self._send(self._settings.urls, payload))

    def _next(self) -> tuple[str, bytes] | None:
        with self._changed:
            self._changed.wait_for(lambda: self._waiting or self._is_leaving)
            return self._waiting.popleft() if self._waiting else None

    def _note(self, title: str, code: int) -> None:
        if code == 0:
            self._counts["sent"] += 1
            _log.info(MESSAGE_SENT, title=title)
            return
        self._counts["not sent"] += 1
        why = WHY.get(code, f"it ended with {code}")
        _log.warning(MESSAGE_NOT_SENT, title=title, why=why)
