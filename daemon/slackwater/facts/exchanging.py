"""What an exchange moved, folded: drains, fills, levels, and a person's word.

Floor 2. One subject: the accounts of pairs. Laws here: what nobody can tell is owed
to nobody and stops the pair; a level takes the place of what was believed only where it
is the better witness or contradicts it, and only where all that moved was exchanged:
what a calibration took may have been poured back; a person's release begins a new
account, for then the tank was looked at.
Source: limits that are merely stated are those of an even spread, an interval is twice
the standard deviation (JCGM 100:2008, 4.3.7 and 6.2.1).
"""

from math import ceil, hypot

from slackwater.facts.doses import DoseEnded, DoseIntended
from slackwater.facts.events import HoldReleased
from slackwater.facts.exchanges import Account, Side
from slackwater.facts.inventory import COVERAGE, EVEN
from slackwater.facts.mismatch import believed_within_ul
from slackwater.facts.now import Event
from slackwater.facts.safeguards import LevelMeasured
from slackwater.facts.state import Fill, Interval, State
from slackwater.facts.storing import fold_level
from slackwater.facts.waters import WaterChanged

UNFILLED = "exchange"
HELD_FOR = (UNFILLED, "exchange-off", "exchange-unproven")


def fold_exchange_intended(state: State, event: DoseIntended) -> None:
    """Water is about to move."""
    pair, _, role = event.exchange.partition("/")
    account = state.exchanges.setdefault(pair, Account())
    account.side(role).pump = event.dose.pump
    if role == "drain":
        account.phase, account.dose = "draining", event.dose.id
        account.latest_at, account.owed_ul = event.dose.latest_at, 0
        account.counted_ul = event.counted_ul
    else:
        account.phase = "filling"


def fold_exchange_closed(
    state: State, intent: DoseIntended, event: Event, believed_ul: int
) -> None:
    """Water has moved; what nobody saw counts as asked, and is not known."""
    pair, _, role = intent.exchange.partition("/")
    account = state.exchanges.setdefault(pair, Account())
    move(account.side(role), believed_ul)
    is_known = isinstance(event, DoseEnded) and event.source != "asked"
    if not is_known:
        account.phase = "unknown"
    elif role == "drain":
        account.phase, account.owed_ul = "owed", believed_ul
    else:
        account.phase = "rest"
        _note_change(account, intent, event, min(account.owed_ul, believed_ul))


def _note_change(
    account: Account, intent: DoseIntended, event: Event, volume_ul: int
) -> None:
    """Remember what is a water change, once somebody writes it down."""
    if volume_ul > 0:
        account.unbooked, account.unbooked_at = intent.dose.id, event.at
        account.unbooked_ul = volume_ul


def fold_exchange_voided(state: State, intent: DoseIntended) -> None:
    """Nothing moved: what was owed before is owed still."""
    pair, _, role = intent.exchange.partition("/")
    account = state.exchanges.setdefault(pair, Account())
    account.phase = "rest" if role == "drain" else "owed"


def fold_exchange_raised(state: State, exchange: str, more_ul: int) -> None:
    """A late report showed that more moved than was believed."""
    pair, _, role = exchange.partition("/")
    move(state.exchanges.setdefault(pair, Account()).side(role), more_ul)


def move(side: Side, volume_ul: int) -> None:
    """Count what moved; no level has shown it yet."""
    side.moved_ul += volume_ul
    side.unproven_ul += volume_ul


def fold_exchange_booked(state: State, event: WaterChanged) -> None:
    """What came in by a fill is a water change now."""
    for account in state.exchanges.values():
        if account.unbooked and event.id == account.unbooked:
            account.unbooked, account.unbooked_ul = "", 0
            account.unbooked_at = None
            account.topped_ul += event.topped_ul


def fold_exchange_released(state: State, event: HoldReleased) -> None:
    """A person looked at the tank: the account of the pair begins anew.

    A portion that is under way is owed still, unless the hold was about that.
    """
    word, _, pair = event.hold_id.partition("/")
    known = state.exchanges.get(pair)
    if known is None or word not in HELD_FOR or event.by == "daemon":
        return
    begun = Account(opened_at=event.at)
    begun.unbooked, begun.unbooked_ul = known.unbooked, known.unbooked_ul
    begun.unbooked_at = known.unbooked_at
    if word != UNFILLED and known.phase in ("draining", "owed", "filling"):
        begun.phase, begun.dose, begun.owed_ul = known.phase, known.dose, known.owed_ul
        begun.latest_at, begun.counted_ul = known.latest_at, known.counted_ul
        move(begun.drain, known.owed_ul)
    state.exchanges[pair] = begun


def fold_level_of_pair(state: State, event: LevelMeasured) -> None:
    """Keep a level, and what it says of the pair whose container it is."""
    before = state.fills.get(event.reservoir)
    since = None if before is None else before.since
    fold_level(state, event)
    for account in state.exchanges.values():
        opened_at = account.opened_at
        if since is None or (opened_at is not None and since < opened_at):
            continue
        for side in (account.drain, account.fill):
            found = state.intervals[event.reservoir][-1]
            if side.pump in event.pumps and _moved_alone(side, before, found):
                _prove(state, side, found)


def _moved_alone(side: Side, before: Fill | None, found: Interval) -> bool:
    """Whether all that is believed to have moved since then was of the exchange."""
    if before is None or before.exchanged_ul is None:
        return True
    return found.believed_ul == side.moved_ul - before.exchanged_ul.get(side.pump, 0)


def _prove(state: State, side: Side, found: Interval) -> None:
    more_ul = found.used_ul - found.believed_ul
    level_ul = ceil(COVERAGE * hypot(found.begin_ul, found.end_ul) / EVEN)
    books_ul = believed_within_ul(state, side.pump, found.believed_ul)
    if level_ul < books_ul or abs(more_ul) > level_ul + books_ul:
        side.off_ul += more_ul
        side.within_ul = ceil(hypot(side.within_ul, level_ul))
        # What moved before those levels, and no better pair of levels showed, stays.
        side.unproven_ul = max(side.unproven_ul - found.believed_ul, 0)
