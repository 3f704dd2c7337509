"""An entry that was wrong, found by its id.

Floor 8. One subject: superseding and striking. Laws here: nothing is changed in place;
only what stands can be corrected, and once; who strikes says why.
"""

from collections.abc import Iterable, Iterator
from typing import Protocol, TypeVar

from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.waters import MeasurementKept, StandardChecked
from slackwater.ledger.by_time import BEGINNING, told
from slackwater.ledger.measured import struck_since
from slackwater.ledger.store import LedgerFile

CORRECT, STRIKE = "--correct", "--strike"


class Named(Protocol):
    """An entry with an id of its own."""

    @property
    def id(self) -> str:
        """The id by which a later entry names it."""


class Replaceable(Named, Protocol):
    """An entry that may take the place of an earlier one."""

    @property
    def supersedes(self) -> str:
        """The id of the entry it corrects; empty for none."""


NamedT = TypeVar("NamedT", bound=Named)
ReplaceableT = TypeVar("ReplaceableT", bound=Replaceable)


def standing_test(ledger: LedgerFile, wanted: str, option: str) -> MeasurementKept:
    """The measurement of an id, if it was neither superseded nor struck.

    Raises: InputError for an unknown id, RefusedError for one that no longer stands.
    """
    kept = list(told(ledger, MeasurementKept))
    found = named(kept, wanted, option)
    refuse_replaced(kept, wanted, option)
    refuse_struck(ledger, wanted, option)
    return found


def strikable(ledger: LedgerFile, wanted: str) -> None:
    """Go on when a test or a kit's trial of this id stands.

    Raises: InputError for an unknown id, RefusedError for one that no longer stands.
    """
    trials = list(told(ledger, StandardChecked))
    if any(one.id == wanted for one in trials):
        refuse_struck(ledger, wanted, STRIKE)
        return
    standing_test(ledger, wanted, STRIKE)


def named(entries: Iterable[NamedT], wanted: str, option: str) -> NamedT:
    """The entry of an id.

    Raises: InputError when there is none.
    """
    for entry in entries:
        if entry.id == wanted:
            return entry
    raise InputError(
        Finding(
            what=f'no such entry is called "{wanted}"',
            where=option,
            expected="the id that was printed when it was recorded",
            do="See `slackwater history PARAMETER` or `slackwater ledger`; nothing "
            "was written.",
        )
    )


def refuse_replaced(entries: Iterable[ReplaceableT], wanted: str, option: str) -> None:
    """Refuse an entry that was corrected before.

    Raises: RefusedError naming the one that took its place.
    """
    for entry in entries:
        if entry.supersedes == wanted:
            raise RefusedError(_gone(wanted, f"was corrected by {entry.id}", option))


def refuse_struck(ledger: LedgerFile, wanted: str, option: str) -> None:
    """Refuse an entry that was struck.

    Raises: RefusedError.
    """
    if wanted in struck_since(ledger, BEGINNING):
        raise RefusedError(_gone(wanted, "was struck", option))


def struck_words(name: str, why: str) -> str:
    """What was done, for people."""
    return f"Struck {name}: {why}. It stays readable and no longer counts."


def missing_why(option: str, why: str) -> Iterator[Finding]:
    """A finding when no reason is given."""
    if not why:
        yield Finding(
            what="no reason is given",
            where=option,
            expected="--why with a few words for the record",
            do="Say why; nothing was written.",
        )


def _gone(wanted: str, what: str, option: str) -> Finding:
    return Finding(
        what=f"{wanted} {what}",
        where=option,
        expected="an entry that still stands",
        do="Name the newer one; nothing was written.",
    )
