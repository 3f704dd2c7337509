"""What an entry of the ledger is about, in a few words.

Floor 8. One subject: the last column of the page of the ledger. Laws here: an entry
that names only an attempt is told with the dose of its intent; a figure stands in the
unit people use; the document and the CSV hold the rest.
"""

from collections.abc import Iterable, Iterator, Mapping

from slackwater.facts.audits import Audited
from slackwater.facts.doses import DoseEnded, DoseIntended
from slackwater.facts.events import (
    AnyEvent,
    HoldRaised,
    PlanApproved,
    ReadingKept,
    RequestTakenBack,
    ShotRequested,
)
from slackwater.facts.safeguards import LevelMeasured, ReservoirFilled
from slackwater.ledger.chain import subject_of
from slackwater.water.show import show_count, show_level, show_volume

SHORT = 8
# What an entry says of itself that a person looks for.
_SAID = (
    *("pump", "scope", "hold_id", "id", "task", "sample", "measurement", "parameter"),
    *(
        "reservoir",
        "lot",
        "typed",
        "solution",
        "what",
        "remedy",
        "by",
        "how",
        "why",
        "note",
        "mode",
    ),
    *("serial", "probe", "alarm", "priority", "to"),
)


def doses_of(events: Iterable[AnyEvent]) -> dict[str, str]:
    """The dose of each attempt that these entries intended."""
    return {
        event.command.attempt: event.dose.id
        for event in events
        if isinstance(event, DoseIntended)
    }


def gist(event: AnyEvent, doses: Mapping[str, str]) -> str:
    """The words; `doses` maps an attempt to its dose."""
    return ", ".join((*_subject(event, doses), *_said(event), *_figures(event)))


def _subject(event: AnyEvent, doses: Mapping[str, str]) -> Iterator[str]:
    dose, attempt, _pump = subject_of(event)
    if dose:
        yield dose
    elif attempt:
        yield doses.get(attempt, f"attempt {attempt[:SHORT]}")


def _said(event: AnyEvent) -> Iterator[str]:
    for name in _SAID:
        value = getattr(event, name, "")
        if value:
            yield f"{name} {value}"


def _figures(event: AnyEvent) -> Iterator[str]:
    if isinstance(event, PlanApproved):
        approval = event.approval
        yield f"serial {approval.serial}"
        yield f"digest {approval.digest[:SHORT]}"
        yield f"by {approval.by}"
    elif isinstance(event, Audited):
        yield f"{event.given} of {show_count(event.doses, 'dose')} given"
        yield show_count(event.faults, "fault")
    elif isinstance(event, ReadingKept):
        yield show_level(event.parameter, event.value)
    elif isinstance(event, DoseIntended):
        yield show_volume(event.command.ul)
    elif isinstance(event, DoseEnded):
        yield show_volume(event.believed_ul)
    elif isinstance(event, ReservoirFilled):
        yield show_volume(event.content_ul)
    elif isinstance(event, (LevelMeasured, RequestTakenBack, ShotRequested)):
        yield show_volume(event.volume_ul)
    if isinstance(event, HoldRaised):
        yield event.reason.text
    yield from (reason.text for reason in getattr(event, "reasons", ()))
