"""A new version decides as the one before it did, or nothing until a person looked.

Floor 7. One subject: the first start of another version. Laws here: what is tried are
the stored decisions of the last day, before anything new is decided; a difference of
any field holds everything; the same version is not tried.
"""

from datetime import timedelta

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater import __version__
from slackwater.facts.events import HoldRaised, Started
from slackwater.facts.reasons import Code, because
from slackwater.ledger.by_time import newest
from slackwater.ledger.store import LedgerFile
from slackwater.service import logs
from slackwater.service.loop import stamp_of, take_news, write
from slackwater.service.replaying import replayed
from slackwater.service.wiring import Rig

TRIED = timedelta(days=1)

_log: FilteringBoundLogger = structlog.get_logger()


def version_before(ledger: LedgerFile) -> str:
    """The version that took charge last; empty when none did.

    Raises: the ledger errors.
    """
    started = newest(ledger, Started)
    return "" if started is None else started.version


def hold_if_otherwise(rig: Rig, before: str) -> None:
    """Hold everything where this version decides otherwise than the one before.

    Raises: the ledger errors; InputError when an approved text cannot be read.
    """
    if before in ("", __version__) or Code.VERSION_DIFFERS in rig.memory.state.holds:
        return
    now = rig.clock.now().utc
    found = replayed(rig.memory.ledger, now - TRIED, now)
    _log.info(
        logs.DECISIONS_REPLAYED,
        before=before,
        decisions=found.decisions,
        differing=len(found.differences),
    )
    if not found.differences:
        return
    first = found.differences[0]
    hold = HoldRaised(
        **stamp_of(rig),
        hold_id=Code.VERSION_DIFFERS,
        scope="all",
        reason=because(
            Code.VERSION_DIFFERS,
            before=before,
            now=__version__,
            differing=len(found.differences),
            dose=first.dose,
        ),
        latched=True,
    )
    while not write(rig, [hold]):
        take_news(rig)
