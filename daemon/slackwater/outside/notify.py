"""Messages for people who do not look at MQTT.

Floor 6. One subject: sending beside the loop. Laws here: a thread of its own with a
bounded queue, so that nothing slow or broken blocks a decision; each message is sent by
a process of its own that may be ended; what nobody took is tried again, what somebody
took is not; no address is read, kept or logged here.
"""

import json
import subprocess
import sys
import threading
import time
from bisect import insort
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from operator import attrgetter
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
    3: "no address took it",
    4: "the package for it is not installed",
    5: "the file of addresses cannot be used",
    6: "the message could not be read",
    7: "an address did not take it",
    TOO_SLOW: "it took too long",
    NOT_STARTED: "the process could not be started",
}
# What a later try may mend; all else wants a person.
MENDING = frozenset({3, TOO_SLOW, NOT_STARTED})
# What nobody took is tried again after so long, seconds: a router may start later than
# this machine, and a line be away for a night. Common practice, no source.
AGAIN_S = (60.0, 300.0, 900.0, 3600.0, 10_800.0, 21_600.0)
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


@dataclass(slots=True, kw_only=True)
class _Letter:
    """One message; `due_s` is when it is tried next, by the monotonic clock."""

    title: str
    payload: bytes
    tries: int = 0
    due_s: float = 0.0


class Nobody:
    """Sends nothing: nobody said where to."""

    def tell(self, title: str, body: str, priority: Priority | None = None) -> None:
        """Send nothing."""

    def close(self) -> None:
        """Nothing waits."""


class Post:
    """Sends messages one after the other; never blocks whoever tells.

    What nobody took is put off and tried again, behind what came meanwhile.
    """

    def __init__(
        self,
        settings: NotifySettings,
        send: Send = send_by_process,
        again_s: Sequence[float] = AGAIN_S,
    ) -> None:
        """Keep where addresses stand; `start` begins."""
        self._settings = settings
        self._send = send
        self._again_s = again_s
        self._waiting: deque[_Letter] = deque()
        self._later: list[_Letter] = []
        self._counts: Counter[str] = Counter()
        self._changed = threading.Condition()
        self._is_leaving = False
        self._thread: threading.Thread | None = None

    @property
    def counts(self) -> Counter[str]:
        """How many messages were sent, not sent or given up, and tries put off."""
        return Counter(self._counts)

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
            while len(self._waiting) + len(self._later) >= WAITING_AT_MOST:
                self._give_up_one()
            self._waiting.append(_Letter(title=title, payload=message))
            self._changed.notify()

    def _give_up_one(self) -> None:
        """What was tried in vain already, else what has waited longest."""
        if self._later:
            del self._later[0]
        else:
            self._waiting.popleft()
        self._counts["given up"] += 1

    def close(self) -> None:
        """Send what waits, for a few seconds at most."""
        with self._changed:
            self._is_leaving = True
            self._changed.notify()
        if self._thread is not None:
            self._thread.join(LEAVE_S)
            self._thread = None

    def _work(self) -> None:
        while (letter := self._next()) is not None:
            self._note(letter, self._send(self._settings.urls, letter.payload))

    def _next(self) -> _Letter | None:
        """What is due, as soon as it is; None when nothing is left and one leaves."""
        with self._changed:
            while True:
                if self._waiting:
                    return self._waiting.popleft()
                left_s = (
                    self._later[0].due_s - time.monotonic() if self._later else None
                )
                if left_s is not None and (self._is_leaving or left_s <= 0):
                    return self._later.pop(0)
                if self._is_leaving:
                    return None
                self._changed.wait(left_s)

    def _note(self, letter: _Letter, code: int) -> None:
        if code == 0:
            self._counts["sent"] += 1
            _log.info(MESSAGE_SENT, title=letter.title)
            return
        self._counts["put off" if self._put_off(letter, code) else "not sent"] += 1
        why = WHY.get(code, f"it ended with {code}")
        _log.warning(MESSAGE_NOT_SENT, title=letter.title, why=why)

    def _put_off(self, letter: _Letter, code: int) -> bool:
        """Whether it is tried once more; whoever leaves has no time for that."""
        with self._changed:
            is_last = letter.tries >= len(self._again_s)
            if code not in MENDING or is_last or self._is_leaving:
                return False
            letter.due_s = time.monotonic() + self._again_s[letter.tries]
            letter.tries += 1
            insort(self._later, letter, key=attrgetter("due_s"))
            return True
