"""How far a tank may be off by its exchanges.

Floor 2. One subject: the sum of what a pair moved. Laws here: what was drained beyond
what came in counts, and so does what the top-off gave meanwhile; what no level has
shown yet is uncertain by what calibrations allow, and never by less than a pump may
change unseen; a new portion must fit even if its fill never comes.
Source: mass balance; an interval is twice the standard deviation (JCGM 100:2008,
6.2.1).
"""

from dataclasses import dataclass
from math import ceil, hypot

from slackwater.facts.exchanges import Account, Side, most_off_ul
from slackwater.facts.inventory import COVERAGE, rate_sd
from slackwater.facts.state import State

# So far two sound pumps may part unseen since they were measured: common practice, no
# source.
UNSEEN_SHARE = 0.015


@dataclass(frozen=True, slots=True, kw_only=True)
class Mismatch:
    """What was drained beyond what came in, below 0 for less.

    It is true within `within_ul`, and the tank may be off by `most_ul`; `is_off` says
    that it is off by more already, whatever is still measured.
    """

    drained_more_ul: int
    within_ul: int
    most_ul: int
    is_off: bool

    def has_room(self, portion_ul: int) -> bool:
        """Whether one more drain fits, whatever is uncertain and its fill missing."""
        worst_ul = max(self.drained_more_ul + portion_ul, -self.drained_more_ul)
        return worst_ul + self.within_ul <= self.most_ul


def mismatch_of(state: State, pair: str, net_ul: int) -> Mismatch:
    """Where a pair stands; nothing moved is nothing off.

    Units: `net_ul` the net water of its tank.
    """
    account = state.exchanges.get(pair, Account())
    drain, fill = account.drain, account.fill
    most_ul = most_off_ul(net_ul)
    books_ul = drain.moved_ul - fill.moved_ul + account.topped_ul - _owed_ul(account)
    more_ul = books_ul + drain.off_ul - fill.off_ul
    # Two pumps that both give more are even; until the second container was read as
    # well, nobody knows.
    read_ul = _proven_ul(drain) - _proven_ul(fill)
    is_even = abs(read_ul) <= most_ul + abs(books_ul)
    parts = (
        drain.within_ul,
        fill.within_ul,
        believed_within_ul(state, drain.pump, drain.unproven_ul),
        believed_within_ul(state, fill.pump, fill.unproven_ul),
    )
    return Mismatch(
        drained_more_ul=more_ul,
        within_ul=ceil(hypot(*parts)),
        most_ul=most_ul,
        is_off=abs(books_ul) > most_ul or (is_even and abs(more_ul) > most_ul),
    )


def _proven_ul(side: Side) -> int:
    """What levels have shown of a side."""
    return side.moved_ul - side.unproven_ul


def _owed_ul(account: Account) -> int:
    """What was drained and is about to come in: not missing yet."""
    return account.owed_ul if account.phase in ("owed", "filling") else 0


def believed_within_ul(state: State, pump: str, believed_ul: int) -> int:
    """How far a volume that a pump is believed to have moved may be off."""
    share = max(COVERAGE * rate_sd(state, pump), UNSEEN_SHARE)
    return ceil(believed_ul * share)
