"""One intent beside what was approved: as asked, extra, or altered.

Floor 3. One subject: judging one intent by its kind. Laws here: for a dose of the plan
everything is equal to what was approved, and it begins within its time; any other kind
needs the request of a person on the machine; whatever is of no known kind is extra.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from slackwater.audit.consent import Consent, Head, Line
from slackwater.audit.history import History
from slackwater.audit.places import Place, instant, places, seconds
from slackwater.facts.doses import DoseIntended

Wrong = Literal["extra", "altered", "duplicate", "unexplained", "beyond"]
# A request by a person on the machine lasts no longer.
REQUEST_LASTS = timedelta(minutes=30)
# How the contract derives the cut from the run: 15 %, and 150 ms at the least.
CUT_PERCENT, CUT_LEAST_MS = 115, 150
NL_MS_PER_UL_S, MS_PER_S = 1_000_000, 1_000
# A wall clock is read shortly before the entry is written.
SLACK = timedelta(seconds=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """One thing that was not done as approved."""

    wrong: Wrong
    dose: str
    at: datetime
    what: str


def departures(
    history: History, intent: DoseIntended, order: int, *, fits_stage: bool = True
) -> list[Departure]:
    """Everything in which an intent departs from what was approved; empty for none.

    `order` is its number in the ledger; `fits_stage` False where the stage of that
    moment wanted its doses in another ledger. What cannot be judged is extra.
    """
    found: list[tuple[Wrong, str]] = []
    kind: str = intent.dose_kind
    if kind == "plan":
        if not fits_stage:
            found.append(("extra", "pumps were in another stage then"))
        found += _of_plan(history, intent, order)
    elif kind in ("calibrate", "prime", "manual"):
        found += _of_request(history, intent, order)
    else:
        found.append(("extra", f"nobody knows a dose of kind {kind}"))
    return [
        Departure(wrong=wrong, dose=intent.dose.id, at=intent.at, what=what)
        for wrong, what in found
    ]


def _of_plan(
    history: History, intent: DoseIntended, order: int
) -> Iterator[tuple[Wrong, str]]:
    dose = intent.dose
    standing = history.asked_by(dose.due_at, order)
    if standing is None:
        yield "extra", "no approval asked for it"
        return
    consent = standing.consent
    # A dose that waited runs on the machine, and under the approval, of its beginning.
    running = history.asked_by(max(intent.at, dose.due_at), order) or standing
    line = consent.lines.get(f"{dose.tank}/{dose.line}")
    place = (
        None
        if line is None
        else places(consent, line, dose.local_day).get(dose.ordinal)
    )
    if line is None or place is None:
        yield "extra", "the plan has no such dose"
        return
    if intent.at >= (ends_at := running.consent.ends_at(line)):
        yield "extra", f"its approval ended {_time(ends_at)}"
    times = history.times(dose.due_at, order)
    for what in _altered(intent, consent, (line, place), times):
        yield "altered", what
    head = running.consent.heads.get(line.pump)
    if head is not None and head.id == dose.pump:
        for what in (
            *_hardware(intent, head),
            *_run(history, intent, order, running.consent),
        ):
            yield "altered", what


def _altered(
    intent: DoseIntended, consent: Consent, asked: tuple[Line, Place], times: int
) -> Iterator[str]:
    """Identity, pump, amount and time, by the plan that asked for it."""
    dose, (line, place) = intent.dose, asked
    name = f"{line.tank}/{line.id}@{dose.local_day}#{dose.ordinal:02d}"
    name += "" if times == 1 else f".{times}"
    if dose.id != name:
        yield f"it is called so and should be {name}"
    if dose.pump != line.pump:
        yield f"pump {dose.pump} instead of {line.pump}"
    head = consent.heads.get(line.pump)
    always = head is not None and head.always_ms > 0
    yield from _amount(intent, place.volume_ul, is_whole=always)
    yield from _time_kept(intent, place, consent.lateness_s)


def _amount(intent: DoseIntended, approved_ul: int, *, is_whole: bool) -> Iterator[str]:
    """No more than approved, and less only with a reason or where pulses are whole."""
    asked_ul = intent.command.ul
    if {intent.dose.volume_ul, intent.planned_ul} != {approved_ul}:
        yield f"planned as {intent.dose.volume_ul} uL instead of {approved_ul} uL"
    if not 0 < asked_ul <= approved_ul:
        yield f"{asked_ul} uL asked for instead of {approved_ul} uL"
    elif asked_ul < approved_ul and not (intent.reasons or is_whole):
        yield f"{asked_ul} uL instead of {approved_ul} uL without a reason"
    if not intent.in_water:
        yield "not counted as given to the water"


def _time_kept(intent: DoseIntended, place: Place, lateness_s: float) -> Iterator[str]:
    dose = intent.dose
    if not place.holds(dose.due_at):
        share = f"{_time(place.from_at)} to {_time(instant(place.until_s))}"
        yield f"due {_time(dose.due_at)} instead of within {share}"
    if seconds(dose.latest_at) - seconds(dose.due_at) > lateness_s:
        yield f"may begin until {_time(dose.latest_at)}, later than any dose may"
    if not dose.due_at - SLACK <= intent.at <= dose.latest_at + SLACK:
        span = f"{_time(dose.due_at)} to {_time(dose.latest_at)}"
        yield f"begun {_time(intent.at)} instead of within {span}"


def _hardware(intent: DoseIntended, head: Head) -> Iterator[str]:
    command = intent.command
    if (command.node, command.channel) != (head.node, head.channel):
        asked, approved = f"{command.node}/{command.channel}", head.node
        yield f"sent to {asked} instead of {approved}/{head.channel}"
    if intent.solution != head.solution:
        yield f"solution {intent.solution} instead of {head.solution}"


def _run(
    history: History, intent: DoseIntended, order: int, consent: Consent
) -> Iterator[str]:
    """Calibration, run time and cut, each counted afresh."""
    command, pump = intent.command, intent.dose.pump
    approved = consent.approval.calibrations.get(pump)
    if approved is not None and command.cal != approved:
        yield f"calibration {command.cal} instead of {approved}"
    flow = history.rate_of(consent, pump, command.cal, order)
    if flow is None:
        yield f"calibration {command.cal}, which nobody made"
        return
    head = consent.heads[pump]
    rate_nl_per_s, offset_nl = flow
    flowing = command.ul * NL_MS_PER_UL_S - offset_nl * MS_PER_S
    run_ms = max(flowing // rate_nl_per_s, 1)
    if head.always_ms:
        run_ms = head.always_ms
        flowed = rate_nl_per_s * run_ms + offset_nl * MS_PER_S
        whole_ul = max(-(-flowed // NL_MS_PER_UL_S), 1)
        if command.ul != whole_ul:
            yield f"{command.ul} uL in a pulse that gives {whole_ul} uL"
    if command.ms != run_ms:
        yield f"run for {command.ms} ms instead of {run_ms} ms"
    longest_ms = max(run_ms * CUT_PERCENT // 100, run_ms + CUT_LEAST_MS)
    cut_ms = min(longest_ms, head.cut_limit_ms)
    # A lower limit in the file counts at once, so the cut may come sooner.
    if not command.ms <= command.cut_ms <= cut_ms:
        yield f"cut after {command.cut_ms} ms instead of {cut_ms} ms"


def _of_request(
    history: History, intent: DoseIntended, order: int
) -> Iterator[tuple[Wrong, str]]:
    """A run asked for by a person: for this, in time, no more, in its account."""
    number, request = history.requests.get(intent.dose.id, (order, None))
    if request is None or number >= order:
        yield "extra", "no person on the machine asked for it"
        return
    if intent.dose.id in history.taken_back:
        yield "extra", "the person who asked for it took it back"
    if intent.dose.pump != request.pump:
        yield "altered", f"pump {intent.dose.pump} instead of {request.pump}"
    # Behind a relay that knows one length only, a whole pulse may be less.
    if not 0 < intent.command.ul <= request.volume_ul:
        asked = f"instead of the {request.volume_ul} uL asked for"
        yield "altered", f"{intent.command.ul} uL {asked}"
    last_at = min(request.until, request.at + REQUEST_LASTS) + SLACK
    if not request.at - SLACK <= intent.at <= last_at:
        yield "altered", f"begun {_time(intent.at)}, beyond its request"
    if intent.dose_kind != request.purpose:
        yield "altered", f"run as {intent.dose_kind}, asked for as {request.purpose}"
    if intent.in_water and request.purpose != "manual":
        yield "altered", "counted as given to the water"
    if not intent.in_water and request.purpose == "manual":
        yield "altered", "not counted as given to the water"


def _time(at: datetime) -> str:
    return f"{at:%Y-%m-%dT%H:%M:%SZ}"
