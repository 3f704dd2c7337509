"""A time of which a person says that nothing was dosed, beside what is told of it.

Floor 8. One subject: two words of people that cannot both be meant. Laws here: the one
that is typed second is asked about, with the one before it; whoever confirms it says
that nothing but that was dosed, and both count; what was struck speaks against nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from slackwater.cli.opening import opened
from slackwater.cli.render import local
from slackwater.errors import Finding
from slackwater.facts.events import LedgerMade
from slackwater.facts.waters import AddedByHand, HusbandryNoted
from slackwater.ledger.beginnings import HOURS_ANSWERED
from slackwater.ledger.by_time import BEGINNING, told
from slackwater.ledger.measured import struck_since

NOTHING = "nothing_dosed"
# Of many additions the first ones lead to the others.
NAMED_AT_MOST = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """What was said of the time before the ledger, of all tanks."""

    made: LedgerMade
    hands: tuple[AddedByHand, ...]
    undosed: tuple[HusbandryNoted, ...]


def said_before(state_dir: Path) -> Before:
    """Read it.

    Raises: the ledger errors; PermissionError when this user may not read them.
    """
    with opened(state_dir) as found:
        ledger = found.ledger
        gone = struck_since(ledger, BEGINNING)
        hands = (one for one in told(ledger, AddedByHand) if one.id not in gone)
        noted = (one for one in told(ledger, HusbandryNoted) if one.what == NOTHING)
        return Before(made=ledger.made, hands=tuple(hands), undosed=tuple(noted))


def denied(before: Before, tank: str, at: datetime, zone: str) -> Iterator[Finding]:
    """A finding for an addition at a time in which nothing is said to be dosed."""
    until = before.made.at
    mine = [one for one in before.undosed if one.tank == tank]
    first = min(mine, key=lambda one: one.happened_at, default=None)
    if first is None or not first.happened_at <= at < until:
        return
    yield Finding(
        what=f"{local(at, zone)} lies in a time in which nothing was dosed, as "
        f"{first.by} said",
        where="added",
        expected=f"no addition from {local(first.happened_at, zone)} to "
        f"{local(until, zone)}, when the ledger was made",
        do="Check the time. If it was given then and nothing else was, add --confirm; "
        "nothing was written.",
    )


def dosed(before: Before, tank: str, since: datetime) -> Iterator[Finding]:
    """A finding for a time without doses in which some are on record."""
    made = before.made
    names = [
        one.id
        for one in before.hands
        if one.tank == tank and since <= one.given_at < made.at
    ]
    known = names[:NAMED_AT_MOST]
    if len(names) > NAMED_AT_MOST:
        known.append(f"{len(names) - NAMED_AT_MOST} more additions")
    if since < made.at and any(made.effects.get(tank, {}).values()):
        known.append(f"what was given in the {HOURS_ANSWERED} hours before the ledger")
    if known:
        yield Finding(
            what=f"in that time something was dosed: {', '.join(known)}",
            where=f"event {NOTHING}",
            expected="a time of which no addition was told",
            do="Name a later time with --at, or take an addition that was not so out "
            "with `slackwater added --strike ID`. If nothing but that was dosed, add "
            "--confirm; nothing was written.",
        )
