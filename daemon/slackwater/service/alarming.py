"""The lookout: alarms judged beside the loop, written, told and shown.

Floor 7. One subject: alarms of a running daemon. Laws here: judging never decides a
dose, and telling never waits; an alarm is told after its entry is durable; whoever
looks at the wire sees what stands, and nothing that is over.
"""

from collections.abc import Iterable, Iterator, Mapping

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater.alarms.judging import judge
from slackwater.alarms.rows import ROWS
from slackwater.alarms.uptake import uptake_alarms
from slackwater.alarms.words import Spoken, ended, spoken, summary
from slackwater.assessment.records import Assessment
from slackwater.errors import LedgerError, SlackwaterError
from slackwater.facts.alarms import AlarmChanged, AlarmEvent, Cause
from slackwater.facts.messages import Tell
from slackwater.facts.now import proven_ms
from slackwater.pump.outcome import Stamp
from slackwater.service import logs
from slackwater.service.assessing import LookBack, assessed
from slackwater.service.loop import take_news, write
from slackwater.service.showing import show_alarms
from slackwater.service.telling import tells
from slackwater.service.wiring import Rig
from slackwater.turn.step import moment_at

# A cause that begins is seen within this; a hold that changes, at once.
LOOK_S = 5.0
# What odd figures of the past can do to an assessment; the daemon goes on without it.
ODD = (ArithmeticError, LookupError, ValueError)

_log: FilteringBoundLogger = structlog.get_logger()


def look(rig: Rig) -> None:
    """Judge the alarms if it is time, write what follows, and tell it.

    Raises: the ledger errors.
    """
    lookout, now = rig.lookout, rig.clock.now()
    holds = tuple(rig.memory.state.holds)
    waited_s = LOOK_S if lookout.at_s is None else now.boot_s - lookout.at_s
    if waited_s < LOOK_S and holds == lookout.holds:
        return
    lookout.at_s, lookout.holds = now.boot_s, holds
    moment = moment_at(now, rig.memory.state, rig.sight, rig.setup)
    stamp: Stamp = {
        "at": now.utc,
        "boot_s": now.boot_s,
        "proven_ms": moment.proven_ms,
    }
    if lookout.sent is None:
        _send_news(rig)
    keep_and_tell(rig, judge(moment, lookout.watch, stamp, rig.differ))
    _send_news(rig)
    show_alarms(rig)


def keep_and_tell(rig: Rig, events: Iterable[AlarmEvent]) -> bool:
    """Write entries of alarms and tell them; nothing is told that is not written.

    False where somebody else was first: the next look decides anew.
    """
    made = list(events)
    if made and not write(rig, made):
        rig.lookout.at_s = None
        return False
    for event in made:
        if isinstance(event, AlarmChanged):
            _speak(rig, event)
    for tell in tells(made, rig.setup.machine):
        rig.observe.tell(tell)
    return True


def _speak(rig: Rig, event: AlarmChanged) -> None:
    known = rig.memory.state.alarms[event.alarm]
    if event.to == "active":
        _post(rig, spoken(known))
    elif event.to == "returned":
        _post(rig, ended(known))


def _send_news(rig: Rig) -> None:
    """Send what was told since the last look, by whomever; at a start nothing is."""
    alarms, sent = rig.memory.state.alarms, rig.lookout.sent
    told = {name: known.raised.proven_ms for name, known in alarms.items()}
    if sent is not None:
        for name, at_ms in told.items():
            known = alarms[name]
            if sent.get(name) != at_ms and known.word != "suppressed":
                _post(rig, spoken(known))
    rig.lookout.sent = told


def _post(rig: Rig, words: Spoken) -> None:
    rig.post.tell(words.title, words.body, words.priority)


def tell_the_end(rig: Rig) -> None:
    """Say that the ledger could not be written: it is where alarms would stand."""
    row = ROWS[Cause.LEDGER_FAULT]
    body = f"{row.sentence} The daemon has ended; nothing is dosed.\nDo: {row.action}"
    rig.post.tell(f"urgent: {Cause.LEDGER_FAULT}", body, "urgent")


def summarise(rig: Rig) -> None:
    """The daily line, whatever stands: silence would look the same as a dead daemon."""
    moment = moment_at(rig.clock.now(), rig.memory.state, rig.sight, rig.setup)
    words = summary(moment)
    rig.post.tell(words.title, words.body)
    standing = [one for one in moment.state.alarms.values() if one.is_standing]
    urgent = sum(one.raised.priority == "urgent" for one in standing)
    figures: Mapping[str, str | int] = {
        "alarms": len(standing),
        "urgent": urgent,
        "text": words.body.replace("\n", " ")[:TEXT_AT_MOST],
    }
    for tank in sorted(moment.machine.tanks):
        rig.observe.tell(Tell(tank=tank, name="daily_summary", figures=figures))


# A figure on the wire is no page.
TEXT_AT_MOST = 400


def survey(rig: Rig) -> None:
    """Assess every tank, for those who look on.

    Raises: the ledger errors. An assessment that odd figures defeat is left out.
    """
    utc, back = rig.clock.now().utc, LookBack.of(rig.memory.state)
    for tank in sorted(rig.setup.machine.tanks):
        try:
            made = assessed(rig.memory.ledger, rig.setup.machine, tank, utc, back)
        except LedgerError:
            raise
        except (SlackwaterError, *ODD) as error:
            _log.warning(logs.ASSESSMENT_FAILED, tank=tank, why=type(error).__name__)
            rig.assessments.pop(tank, None)
            continue
        rig.assessments[tank] = made


def assess_uptake(rig: Rig) -> None:
    """Once a day: has a tank begun to use up much less?

    Raises: the ledger errors.
    """
    survey(rig)
    for _, made in sorted(rig.assessments.items()):
        # The next one is made a day later: what others wrote meanwhile is read first.
        while not keep_and_tell(rig, _found(rig, made)):
            take_news(rig)


def _found(rig: Rig, made: Assessment) -> Iterator[AlarmEvent]:
    """What follows from an assessment, by what stands now."""
    now, state = rig.clock.now(), rig.memory.state
    stamp: Stamp = {
        "at": now.utc,
        "boot_s": now.boot_s,
        "proven_ms": 0 if state.mark is None else proven_ms(state.mark, now),
    }
    return uptake_alarms(made, state, stamp, "daemon")
