"""The retained state documents: what anybody may look at.

Floor 7. One subject: when which document is shown. Laws here: for display only, never a
permission; figures come from the state the gate reads; what cannot be shown is logged
and costs a document, never a dose.
"""

from collections.abc import Iterable

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater import __version__
from slackwater.alarms.words import document
from slackwater.errors import SlackwaterError
from slackwater.gate.moment import Moment
from slackwater.service import logs
from slackwater.service.homing import announce_all
from slackwater.service.metering import ODD
from slackwater.service.reaching import unreached
from slackwater.service.tank_document import Document, Shown, tank_document
from slackwater.service.wiring import Rig
from slackwater.turn.step import moment_at

# What stands on the wire of an alarm that is over.
GONE: tuple[object, ...] = ()

_log: FilteringBoundLogger = structlog.get_logger()


def show_all(rig: Rig) -> None:
    """Publish every document anew; a link that is down loses them."""
    try:
        _show_all(rig)
    except (SlackwaterError, *ODD) as error:
        _log.warning(logs.STATE_NOT_SHOWN, why=type(error).__name__)


def _show_all(rig: Rig) -> None:
    moment = moment_at(rig.clock.now(), rig.memory.state, rig.sight, rig.setup)
    tanks = {
        name: tank_document(
            Shown(
                moment=moment,
                setup=rig.setup,
                tank=tank,
                assessed=rig.assessments.get(name),
                unreached=unreached(moment, tank),
            )
        )
        for name, tank in sorted(moment.machine.tanks.items())
    }
    rig.observe.show(
        "daemon/state",
        {
            "v": 1,
            "state": "here",
            "version": __version__,
            "mode": rig.mode,
            "health": _health(moment, tanks.values()),
            "at": moment.now.utc.isoformat(),
        },
    )
    for name, told in tanks.items():
        rig.observe.show(f"tank/{name}/state", told)
    announce_all(rig, moment.machine)


def _health(moment: Moment, tanks: Iterable[Document]) -> str:
    """Held, or something that presses, or fine: one word for the whole daemon."""
    if moment.state.holds:
        return "held"
    is_well = all(not one["problem"] and one["word"] != "cut-off" for one in tanks)
    return "fine" if is_well else "degraded"


def show_alarms(rig: Rig) -> None:
    """Publish what changed of each alarm, and take away what is over and was seen."""
    at = rig.clock.now().utc.isoformat()
    shown, alarms = rig.lookout.shown, rig.memory.state.alarms
    wanted = {
        name: known
        for name, known in alarms.items()
        if known.is_standing or known.wants_eyes
    }
    # What the daemon before this one left there is taken away as well, also what is in
    # this ledger no more: it may have been put back to before that was told.
    lying = {place.replace("/", ".", 1) for place in rig.observe.lying()}
    for name in sorted({*shown, *alarms, *lying} - wanted.keys()):
        if name in lying or shown.get(name) != GONE:
            rig.observe.clear(_alarm_topic(name))
        shown[name] = GONE
    for name, known in wanted.items():
        size = rig.lookout.watch.sizes.get(name)
        told = document(known, size)
        # An hour less is news; a minute less is not.
        left = told["hours_left"]
        now = (
            known.word,
            known.is_seen,
            known.raised.proven_ms,
            known.until,
            int(left) if isinstance(left, float) else None,
        )
        if shown.get(name) != now:
            shown[name] = now
            rig.observe.show(_alarm_topic(name), {"v": 1, "at": at, **told})


def _alarm_topic(name: str) -> str:
    cause, _, about = name.partition(".")
    return f"daemon/alarm/{cause}/{about}"
