"""Which entries are worth a message on the tank's event topic.

Floor 7. One subject: from entries to tellings. Laws here: telling changes nothing; a
published message is never called a success.
"""

from collections.abc import Iterator, Mapping, Sequence

from slackwater.alarms.words import headline
from slackwater.facts.alarms import AlarmChanged, AlarmEvent, AlarmRaised
from slackwater.facts.events import (
    AnyEvent,
    DoseEnded,
    DoseIntended,
    DoseMissed,
    HoldRaised,
    HoldReleased,
    RequestHeard,
    SpanMissed,
)
from slackwater.facts.messages import Tell
from slackwater.facts.reasons import Figure
from slackwater.facts.safeguards import BypassEnded, ProbePutBack
from slackwater.facts.tank import Machine

Figures = Mapping[str, Figure]


def tells(events: Sequence[AnyEvent], machine: Machine) -> Iterator[Tell]:
    """Messages for people and tools, in the order of the entries."""
    for event in events:
        if isinstance(event, AlarmRaised | AlarmChanged):
            yield from _tell_alarm(event, machine)
        elif isinstance(event, BypassEnded | ProbePutBack):
            yield from _tell_back(event, machine)
        else:
            yield from _tell(event, machine)


def _tell(event: AnyEvent, machine: Machine) -> Iterator[Tell]:
    if isinstance(event, DoseIntended):
        figures: Figures = {"dose": event.dose.id, "ul": event.command.ul}
        yield Tell(tank=event.dose.tank, name=f"dose_{event.verdict}", figures=figures)
    elif isinstance(event, DoseMissed):
        code = str(event.reasons[0].code) if event.reasons else ""
        figures_missed: Figures = {"dose": event.dose.id, "reason": code}
        yield Tell(tank=event.dose.tank, name=event.kind, figures=figures_missed)
    elif isinstance(event, SpanMissed):
        span: Figures = {
            "line": event.line,
            "doses": event.doses,
            "ul": event.volume_ul,
            "from": event.first_due.isoformat(),
            "to": event.last_due.isoformat(),
        }
        yield Tell(tank=event.tank, name=event.kind, figures=span)
    elif isinstance(event, DoseEnded):
        ended: Figures = {
            "attempt": event.attempt,
            "how": event.how,
            "ul": event.believed_ul,
        }
        for tank in sorted(machine.tanks):
            yield Tell(tank=tank, name=event.kind, figures=ended)
    elif isinstance(event, (HoldRaised, HoldReleased)):
        reason = event.reason.text if isinstance(event, HoldRaised) else event.why
        hold: Figures = {"hold": event.hold_id, "reason": reason}
        for tank in sorted(machine.tanks):
            yield Tell(tank=tank, name=event.kind, figures=hold)
    elif isinstance(event, RequestHeard):
        answer: Figures = {"act": event.act, "granted": event.granted}
        yield Tell(
            tank=event.tank, name=event.kind, figures=answer, request=event.request
        )


def _tell_back(event: BypassEnded | ProbePutBack, machine: Machine) -> Iterator[Tell]:
    """A guard counts again: an interlock, or a probe."""
    bypass = isinstance(event, BypassEnded)
    about = event.interlock if isinstance(event, BypassEnded) else event.probe
    figures: Figures = {"interlock" if bypass else "probe": about, "by": event.by}
    for tank in sorted(machine.tanks):
        yield Tell(tank=tank, name=event.kind, figures=figures)


def _tell_alarm(event: AlarmEvent, machine: Machine) -> Iterator[Tell]:
    if isinstance(event, AlarmRaised):
        raised: Figures = {
            "alarm": event.alarm,
            "priority": event.priority,
            "text": headline(event),
            "hours_left": event.hours_left,
        }
        for tank in event.tanks:
            yield Tell(tank=tank, name=event.kind, figures=raised)
        return
    changed: Figures = {"alarm": event.alarm, "to": event.to, "by": event.by}
    for tank in sorted(machine.tanks):
        yield Tell(tank=tank, name=event.kind, figures=changed)
