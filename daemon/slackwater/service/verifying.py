"""The whole ledger, read from end to end while the daemon runs.

Floor 7. One subject: the daily audit. Laws here: it is done in small steps by the
loop's own thread, so that it delays no dose and holds up no writer; damage anywhere
stops everything until a person has looked.
"""

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater.errors import Finding, LedgerBusyError
from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Code, because
from slackwater.service import logs
from slackwater.service.loop import stamp_of, take_news, write
from slackwater.service.wiring import Rig

# A step looks at a thousand entries at most; more than a million a day.
VERIFY_S = 30.0
# A figure in a ledger is no page.
WORDS_AT_MOST = 200

_log: FilteringBoundLogger = structlog.get_logger()


def begin_to_verify(rig: Rig) -> None:
    """Read the ledger from its first entry on, step by step."""
    rig.verifying = rig.memory.ledger.audit_steps()


def verify_on(rig: Rig) -> None:
    """One step more; nothing when all was read.

    Raises: the ledger errors, but for a file somebody else writes to: that begins anew.
    """
    if rig.verifying is None:
        return
    try:
        found = next(rig.verifying, None)
    except LedgerBusyError:
        begin_to_verify(rig)
        return
    if found is None:
        rig.verifying = None
        _log.info(logs.LEDGER_VERIFIED, entries=rig.memory.ledger.head.seq)
    elif found:
        _hold(rig, found)


def _hold(rig: Rig, found: list[Finding]) -> None:
    """Caps and doses cannot be told from it any more: nothing runs."""
    what = found[0].what[:WORDS_AT_MOST]
    _log.error(logs.LEDGER_DAMAGED, what=what)
    while Code.LEDGER_DAMAGED not in rig.memory.state.holds:
        hold = HoldRaised(
            **stamp_of(rig),
            hold_id=Code.LEDGER_DAMAGED,
            scope="all",
            reason=because(Code.LEDGER_DAMAGED, what=what),
            latched=True,
        )
        if not write(rig, [hold]):
            # Somebody else was first; the step that found it does not come again today.
            take_news(rig)
