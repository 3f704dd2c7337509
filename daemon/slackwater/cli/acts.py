"""What an entry tells of people and guards, in one short sentence, and who did it.

Floor 8. One subject: entries as people tell them to each other. Laws here: every kind
of entry is told here or named as told elsewhere; a person's name stands beside what
the person did; nothing is called a success.
"""

from collections.abc import Callable, Mapping
from typing import Any

from slackwater.alarms.words import sentence
from slackwater.cli.cap_names import lowered_words
from slackwater.facts.alarms import AlarmChanged, AlarmRaised
from slackwater.facts.audits import Audited
from slackwater.facts.entered import EntrySettled, LevelEntered
from slackwater.facts.events import (
    AnyEvent,
    Calibrated,
    ClockConfirmed,
    FilesDiffer,
    HoldRaised,
    HoldReleased,
    LedgerMade,
    LedgerRestored,
    PlanApproved,
    PlanWithdrawn,
    PumpsDisabled,
    PumpsEnabled,
    RelayChecked,
    RequestHeard,
    RequestTakenBack,
    ResumeBegan,
    ResumeEnded,
    ShotRequested,
    SpanMissed,
    Started,
    Stopped,
)
from slackwater.facts.now import Event
from slackwater.facts.reasons import Code
from slackwater.facts.safeguards import (
    AwayDeclared,
    AwayEnded,
    BottleMoved,
    BypassEnded,
    BypassGranted,
    LevelMeasured,
    ProbePutBack,
    ProbeTakenOut,
    ReservoirFilled,
    TubeSwapped,
)
from slackwater.facts.stages import (
    CapsLowered,
    HalfBegan,
    LineGivenBack,
    LineTakenOver,
)
from slackwater.facts.waters import (
    AddedByHand,
    HusbandryNoted,
    MeasurementStruck,
    ReportImported,
    SampleTaken,
    StandardChecked,
    TaskClosed,
    TaskSet,
    WaterChanged,
)
from slackwater.water.show import show_count, show_volume

Told = Callable[[Any], str]

_PURPOSES = {"calibrate": "a measured run", "prime": "priming", "manual": "a dose"}


def _made(event: LedgerMade) -> str:
    return (
        "ledger begun" if event.answered else "ledger begun; nobody said what was dosed"
    )


def _withdrawn(event: PlanWithdrawn) -> str:
    return _why(f"approval {event.serial} withdrawn", event.why)


def _hold(event: HoldRaised) -> str:
    note = f' "{event.note}"' if event.note else ""
    return f"HOLD {event.scope}{note}: {event.reason.text}"


def _shot(event: ShotRequested) -> str:
    what = f"asked {event.pump} for {_PURPOSES[event.purpose]}"
    return _why(f"{what} of {show_volume(event.volume_ul)}", event.why)


def _taken_back(event: RequestTakenBack) -> str:
    what = f"{show_volume(event.volume_ul)} asked of {event.pump} taken back"
    return _why(what, event.why)


def _calibrated(event: Calibrated) -> str:
    rate = event.rate_nl_per_s / 1_000_000
    return f"{event.pump} measured: {rate:.3g} mL/s, {event.shots} shots"


def _request(event: RequestHeard) -> str:
    answer = "" if event.granted else ", refused"
    return _why(f"asked from afar: {event.act}{answer}", event.note)


def _added(event: AddedByHand) -> str:
    what = event.solution or ", ".join(sorted(event.effects)) or "something"
    volume = f"{show_volume(event.volume_ul)} of " if event.volume_ul else ""
    return _why(f"poured in by hand: {volume}{what}", event.note)


def _water(event: WaterChanged) -> str:
    volume = show_volume(event.volume_ul)
    if not event.volume_ul:
        what = "a water change was called off"
    elif event.supersedes:
        what = f"a water change was corrected to {volume}"
    elif event.changed_at > event.at:
        what = f"{volume} of water announced for {event.changed_at:%Y-%m-%d %H:%M} UTC"
    else:
        what = f"{volume} of water changed"
    return _why(what, event.note)


def _happened(event: HusbandryNoted) -> str:
    return _why(event.what.replace("_", " "), event.note)


def _filled(event: ReservoirFilled) -> str:
    lot = f", lot {event.lot}" if event.lot else ""
    return _why(
        f"{event.reservoir} holds {show_volume(event.content_ul)}{lot}", event.note
    )


def _span(event: SpanMissed) -> str:
    missed = f"{show_count(event.doses, 'dose')} of {event.line} missed"
    if any(reason.code is Code.NOT_RUNNING for reason in event.reasons):
        return f"{missed}, nobody was there"
    return f"{missed}: {' '.join(reason.text for reason in event.reasons)}"


def _lowered(event: CapsLowered) -> str:
    if not event.caps:
        return "no cap of the file is lower than approved any more"
    return f"caps of the file are lower, and count: {lowered_words(event.caps)}"


def _audited(event: Audited) -> str:
    doses, faults = show_count(event.doses, "dose"), show_count(event.faults, "fault")
    return f"audit: {event.given} of {doses}, {faults}"


def _away(event: AwayDeclared) -> str:
    return f"away until {event.until:%Y-%m-%d %H:%M} UTC"


def _why(what: str, why: str) -> str:
    return f"{what} ({why})" if why else what


TELLING: Mapping[type[Event], Told] = {
    LedgerMade: _made,
    LedgerRestored: lambda event: f"ledger restored from entry {event.entries}",
    PlanApproved: lambda event: f"plan approved, serial {event.approval.serial}",
    PlanWithdrawn: _withdrawn,
    PumpsEnabled: lambda _event: "pumps enabled",
    PumpsDisabled: lambda event: _why("back to shadow", event.why),
    HoldRaised: _hold,
    HoldReleased: lambda event: _why(f"hold {event.hold_id} ended", event.why),
    Calibrated: _calibrated,
    ShotRequested: _shot,
    RequestTakenBack: _taken_back,
    SpanMissed: _span,
    RequestHeard: _request,
    ClockConfirmed: lambda _event: "clock confirmed",
    RelayChecked: lambda event: f"relay {event.node} tried out",
    FilesDiffer: lambda event: f"files differ: {', '.join(event.names) or 'no more'}",
    ResumeBegan: lambda event: f"{event.tank} comes back slowly after a gap",
    ResumeEnded: lambda event: f"{event.tank} is back to the full plan",
    Audited: _audited,
    Started: lambda event: f"daemon began, {event.mode}",
    Stopped: lambda event: f"daemon ended: {event.why}",
    AddedByHand: _added,
    WaterChanged: _water,
    HusbandryNoted: _happened,
    MeasurementStruck: lambda event: f"{event.measurement} struck ({event.why})",
    StandardChecked: lambda event: f"kit for {event.parameter} tried on a standard",
    SampleTaken: lambda event: f"sample {event.sample} taken",
    ReportImported: lambda event: f"report of {event.values} values, {event.file}",
    TaskSet: lambda event: f"to do: {event.text}",
    TaskClosed: lambda event: _why(f"task {event.task} {event.how}", event.note),
    LevelEntered: lambda event: f"{event.parameter} {event.typed} entered from afar",
    EntrySettled: lambda event: _why(f"{event.entry} {event.how}", event.why),
    AlarmRaised: lambda event: f"ALARM {event.alarm}: {sentence(event)}",
    AlarmChanged: lambda event: _why(f"{event.alarm} {event.to}", event.note),
    BypassGranted: lambda event: _why(f"{event.interlock} left aside", event.why),
    BypassEnded: lambda event: f"{event.interlock} counts again",
    ProbeTakenOut: lambda event: _why(f"probe {event.probe} taken out", event.why),
    ProbePutBack: lambda event: _why(f"probe {event.probe} counts again", event.why),
    AwayDeclared: _away,
    AwayEnded: lambda event: _why("back again", event.note),
    ReservoirFilled: _filled,
    LevelMeasured: lambda event: (
        f"{event.reservoir} read: {show_volume(event.volume_ul)}"
    ),
    TubeSwapped: lambda event: _why(f"{event.pump} has a new tube", event.note),
    BottleMoved: lambda event: _why(f"bottle {event.reservoir} moved", event.note),
    CapsLowered: _lowered,
    HalfBegan: lambda event: _why(f"half doses of {event.scope}", event.why),
    LineTakenOver: lambda event: f"{event.line} taken over from the old doser",
    LineGivenBack: lambda event: f"{event.line} given back to the old doser",
}
TOLD = tuple(sorted(str(kind.__dataclass_fields__["kind"].default) for kind in TELLING))
# The life of doses, readings and tests have tables of their own; the rest is for
# programs.
ELSEWHERE = frozenset(
    {
        "charge_raised",
        "checkpoint",
        "day_summed",
        "dose_ended",
        "dose_handed",
        "dose_held",
        "dose_intended",
        "dose_missed",
        "dose_refused_by_node",
        "dose_sealed",
        "dose_taken",
        "dose_voided",
        "inputs_kept",
        "measurement_kept",
        "reading_kept",
        "series_judged",
        "top_off_summed",
        "watch_kept",
    }
)
# What nobody needs to hear of whoever comes for a shift, or reads a month.
_USUAL = frozenset({"audited", "started", "stopped", "resume_began", "resume_ended"})


def act_of(event: AnyEvent) -> str:
    """The sentence; empty for what is told elsewhere."""
    tell = TELLING.get(type(event))
    return "" if tell is None else tell(event)


def is_usual(event: AnyEvent) -> bool:
    """Whether it is the daily round of the daemon; an audit with faults is not."""
    if isinstance(event, Audited):
        return not event.faults
    return event.kind in _USUAL


def who(event: AnyEvent) -> str:
    """Who is on record for it: a person, `daemon`, `request`, or nobody."""
    if isinstance(event, PlanApproved):
        return event.approval.by
    return str(getattr(event, "by", ""))
