"""Keeping the sums of past days, so that years read fast.

Floor 7. One subject: the job that adds up days. Laws here: one day at a time, so that
the loop is never away for long; nothing is added up by a clock nobody vouches for.
"""

from collections.abc import Sequence

from slackwater.facts.fold import UNQUIET
from slackwater.facts.now import Now, proven_ms
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.facts.waters import DaySummed
from slackwater.ledger.summing import next_sums
from slackwater.service.memory import Memory


def sums_due(memory: Memory, machine: Machine, now: Now) -> Sequence[DaySummed]:
    """The sums of the oldest past day that has none; empty when there is none to make.

    Raises: the ledger errors.
    """
    state = memory.state
    if state.mark is None or not _clock_is_settled(state, machine, now):
        return ()
    return next_sums(
        memory.ledger,
        machine.tanks,
        {
            "at": now.utc,
            "boot_s": now.boot_s,
            "proven_ms": proven_ms(state.mark, now),
        },
    )


def _clock_is_settled(state: State, machine: Machine, now: Now) -> bool:
    vouched = (
        now.synchronised
        or machine.clock_confirmed
        or state.clock_confirmed_boot == now.boot_id
    )
    return vouched and not any(
        hold.reason.code in UNQUIET for hold in state.holds.values()
    )
