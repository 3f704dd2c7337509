"""The shapes of the world: what the shell expects of its adapters.

Floor 5. One subject: Protocols, no code. Laws here: a link refuses to send while
offline and never queues; a ledger's append is durable when it returns; an alarm only
says "time to look".
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from slackwater.facts.alarms import Priority
from slackwater.facts.events import AnyEvent
from slackwater.facts.messages import Message, RunPump, StopPump, Tell
from slackwater.facts.now import Now


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """The newest entry of a ledger: its sequence number (0 for none) and hash."""

    seq: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One event with its place in the chain."""

    seq: int
    event: AnyEvent


class Clock(Protocol):
    """The three clocks of this machine."""

    def now(self) -> Now:
        """Read all clocks at one moment."""


class Ledger(Protocol):
    """Append-only memory."""

    @property
    def head(self) -> Head:
        """The head this process last read or wrote; decisions rest on it."""

    def append(self, events: Sequence[AnyEvent]) -> Head:
        """Append all events in one durable transaction on top of `head`.

        Raises: LedgerMovedError when somebody else appended since (read the news with
        `news`, decide anew), LedgerBusyError, LedgerStorageError.
        """

    def news(self) -> Sequence[Entry]:
        """Entries others appended after `head`, at most 1 000; moves `head` on.

        Cheap when nothing changed (looks at the file's data version first).
        """

    def close(self) -> None:
        """Close the file; appending afterwards is an error."""


class PumpLink(Protocol):
    """The only way a command leaves; refuses while the link is not proven up."""

    def run(self, command: RunPump) -> bool:
        """Send once. True: surely handed to the client; False: maybe sent.

        Raises: NotConnectedError when it is certain that nothing was sent.
        """

    def stop(self, command: StopPump) -> None:
        """Send a stop; safe to repeat, never raises for a lost link."""

    def close(self) -> None:
        """Disconnect; runs go on by themselves on the node."""


class Announcer(Protocol):
    """Tells the world what happened; a failure never blocks a decision."""

    def tell(self, message: Tell) -> None:
        """Publish one event on the tank's topic."""

    def show(self, topic: str, document: dict[str, object]) -> None:
        """Publish a retained state document below the site's prefix."""

    def clear(self, topic: str) -> None:
        """Take a retained state document away."""

    def lying(self) -> frozenset[str]:
        """Places of alarms, `CAUSE/ABOUT`, found retained since it was last asked."""


class Notifier(Protocol):
    """Sends messages to people who are elsewhere; never blocks, never raises."""

    def tell(self, title: str, body: str, priority: Priority | None = None) -> None:
        """Send this some time; without a priority always."""

    def close(self) -> None:
        """Send what waits for a few seconds at most, then let it be."""


class Alarm(Protocol):
    """Wakes the loop at a wall time; being late or early is harmless."""

    def wake_at(self, when: datetime | None) -> None:
        """Replace the one pending wake-up; None for none."""

    def rebuild(self) -> None:
        """Set all jobs anew after a clock step."""

    def close(self) -> None:
        """Stop the alarm's threads."""


class Mailbox(Protocol):
    """The bounded queue between the world's threads and the loop."""

    def put(self, message: Message) -> None:
        """Put without waiting; when full, the least important newest is dropped."""

    def wake(self) -> None:
        """End the current wait at once."""

    def collect(self, timeout_s: float) -> tuple[Message, ...]:
        """Wait at most so long for the first message, then take all there are."""
