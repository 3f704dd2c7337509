"""A visit to a tank as the ledger tells it: begun, what was done, ended or broken off.

Floor 8. One subject: where a visit stands. Laws here: the ledger is the only memory, so
that whoever comes back goes on where somebody left off; what was recorded once in a
visit is not recorded again; the pause ends by itself, whether the visit does or not.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from slackwater.facts.events import AnyEvent, HoldRaised, HoldReleased
from slackwater.facts.safeguards import ReservoirFilled
from slackwater.facts.waters import MeasurementKept
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import Wanted, entries

PREFIX = "visit/"
# A visit that was broken off longer ago is over: the water is another one.
RESUMED_WITHIN = timedelta(hours=12)
DAEMON = "daemon"
# Why a person lifts the pause in the middle: a hold of the tank holds shots as well.
MEASURING = "measuring a pump"


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """A visit that nobody has ended; `done` is what was recorded in it."""

    hold: HoldRaised
    done: tuple[AnyEvent, ...] = ()

    @property
    def tank(self) -> str:
        """The tank that is visited."""
        return self.hold.scope.removeprefix("tank/")

    @property
    def tested(self) -> frozenset[str]:
        """What was tested of this tank in the visit."""
        return frozenset(
            event.parameter
            for event in self.done
            if isinstance(event, MeasurementKept) and event.tank == self.tank
        )

    @property
    def refilled(self) -> frozenset[str]:
        """The reservoirs that were filled in the visit."""
        return frozenset(
            event.reservoir for event in self.done if isinstance(event, ReservoirFilled)
        )


def visit_of(ledger: LedgerFile, tank: str, now: datetime) -> Visit | None:
    """The visit of a tank that was begun and not ended; None when there is none.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    since = now - RESUMED_WITHIN
    found = [
        entry.event for entry in entries(ledger, Wanted(since=since, kinds=_KINDS))
    ]
    begun = _begun(found, tank)
    if begun is None:
        return None
    done = found[found.index(begun) + 1 :]
    return Visit(hold=begun, done=tuple(done))


_KINDS = ("hold_raised", "hold_released", "measurement_kept", "reservoir_filled")


def _begun(found: Iterable[AnyEvent], tank: str) -> HoldRaised | None:
    """The newest beginning that no person has ended; time ends only the pause.

    A pause that is raised again is no new beginning.
    """
    begun: HoldRaised | None = None
    for event in found:
        if isinstance(event, HoldRaised) and _is_visit(event, tank):
            is_again = begun is not None and begun.hold_id == event.hold_id
            begun = begun if is_again else event
        elif isinstance(event, HoldReleased) and _ends(event, begun):
            begun = None
    return begun


def _is_visit(event: HoldRaised, tank: str) -> bool:
    return event.hold_id.startswith(PREFIX) and event.scope == f"tank/{tank}"


def _ends(event: HoldReleased, begun: HoldRaised | None) -> bool:
    """Whether a person ended it: daemon and measuring end a pause, and no visit."""
    if begun is None or event.by == DAEMON or event.why == MEASURING:
        return False
    return event.hold_id == begun.hold_id
