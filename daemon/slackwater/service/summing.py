"""Keeping the sums of past days, so that years read fast.

Floor 7. One subject: the job that adds up days. Laws here: one day at a time, so that
the loop is never away for long; nothing is added up by a clock nobody vouches for.
"""

from slackwater.facts.fold import UNQUIET
from slackwater.ledger.summing import next_sums
from slackwater.pump.outcome import Stamp
from slackwater.service.loop import write
from slackwater.service.wiring import Rig


def sum_a_day(rig: Rig, stamp: Stamp) -> None:
    """Write the sums of the oldest past day that has none, if there is one.

    Raises: the ledger errors; a disk that refuses ends the daemon.
    """
    if not _clock_is_settled(rig):
        return
    sums = next_sums(rig.memory.ledger, rig.setup.machine.tanks, stamp)
    if sums:
        # Somebody else was first: the next minute decides anew.
        write(rig, sums)


def _clock_is_settled(rig: Rig) -> bool:
    now, state = rig.clock.now(), rig.memory.state
    vouched = (
        now.synchronised
        or rig.setup.machine.clock_confirmed
        or state.clock_confirmed_boot == now.boot_id
    )
    return vouched and not any(
        hold.reason.code in UNQUIET for hold in state.holds.values()
    )
