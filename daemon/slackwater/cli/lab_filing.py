"""Files a laboratory's report under its tank, sample and time.

Floor 8. One subject: which water a report is about. Laws here: a report belongs to a
sample or to a stated time, never to a guess; the water was not taken in the
future, nor after the laboratory received it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.render import local
from slackwater.cli.subject import UTC_ZONE
from slackwater.cli.typed import new_id
from slackwater.errors import Finding, InputError
from slackwater.facts.events import AnyEvent
from slackwater.facts.tank import Machine
from slackwater.facts.waters import MeasurementKept, ReportImported, SampleTaken
from slackwater.ledger.by_time import told
from slackwater.ledger.store import LedgerFile
from slackwater.outside.lab import LabReport
from slackwater.pump.outcome import Stamp

_SAMPLES_SHOWN = 12
_NONE_OPEN = "none is open"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What a person says about the water of a report; empty where nothing is said."""

    tank: str = ""
    sample: str = ""
    sampled_at: str = ""
    laboratory: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """The water a report is about; `sample` is empty when only the time is known."""

    tank: str
    sampled_at: datetime
    sample: str = ""


def place_for(
    ledger: LedgerFile, machine: Machine, wish: Wish, now: datetime, label: str
) -> Place:
    """The tank and time a report belongs to; `label` is the report's own sample name.

    Raises: InputError with everything that is wrong or missing; ledger errors.
    """
    samples = {one.sample: one for one in told(ledger, SampleTaken)}
    zones = {tank.id: tank.zone for tank in machine.tanks.values()}
    if wish.sample and wish.sampled_at:
        raise InputError(_both())
    named = wish.sample or (label if not wish.sampled_at else "")
    sample = samples.get(named)
    if sample is not None:
        return _of_sample(sample, machine, wish, now)
    if wish.sample:
        waiting = _open_samples(ledger, samples.values(), zones)
        raise InputError(_unknown_sample(wish.sample, waiting))
    if not wish.sampled_at:
        raise InputError(_no_time(_open_samples(ledger, samples.values(), zones)))
    tank = _tank(machine, wish.tank)
    wall = Wall(zone=machine.tanks[tank].zone, now=now, option="--sampled-at")
    return Place(tank=tank, sampled_at=typed_moment(wish.sampled_at, wall))


def refuse_mismatch(report: LabReport, place: Place, zone: str) -> None:
    """Refuse a report whose own dates do not fit the sample.

    Raises: InputError.
    """
    found = list(_mismatches(report, place.sampled_at.astimezone(ZoneInfo(zone))))
    if found:
        raise InputError(found)


def entries_of(
    report: LabReport, place: Place, laboratory: str, stamp: Stamp, by: str
) -> Sequence[AnyEvent]:
    """The report and its values as entries, to be appended together."""
    return [
        ReportImported(
            **stamp,
            report=report.digest,
            tank=place.tank,
            sample=place.sample,
            file=report.file,
            sampled_at=place.sampled_at,
            values=len(report.values),
            by=by,
            laboratory=laboratory,
            skipped=report.skipped,
            limits=report.limits,
        ),
        *(
            MeasurementKept(
                **stamp,
                id=new_id("m"),
                tank=place.tank,
                parameter=one.parameter,
                value=float(one.level),
                typed=one.typed,
                taken_at=place.sampled_at,
                provenance="lab",
                by=by,
                method=one.method,
                note="; ".join(one.notes),
                censored=one.censored,
                sd=float(one.sd) if one.sd else None,
                replicates=one.replicates,
                spread=None if one.spread is None else float(one.spread),
                sample=place.sample,
                report=report.digest,
                confirmed=one.confirmed,
            )
            for one in report.values
        ),
    ]


def _of_sample(
    sample: SampleTaken, machine: Machine, wish: Wish, now: datetime
) -> Place:
    found = []
    if wish.tank and wish.tank != sample.tank:
        found.append(_other_tank(sample, wish.tank))
    if sample.tank not in machine.tanks:
        found.append(_unknown_tank(machine, sample.tank))
    if sample.taken_at > now:
        found.append(_future(sample, now))
    if found:
        raise InputError(found)
    return Place(tank=sample.tank, sampled_at=sample.taken_at, sample=sample.sample)


def _tank(machine: Machine, asked: str) -> str:
    if asked in machine.tanks:
        return asked
    if not asked and len(machine.tanks) == 1:
        return next(iter(machine.tanks))
    raise InputError(_unknown_tank(machine, asked))


def _mismatches(report: LabReport, at: datetime) -> Iterator[Finding]:
    said, received = report.sampled_on, report.received_on
    # A day either way is the clock of another zone, or midnight in between.
    if said is not None and abs((said - at.date()).days) > 1:
        yield _wrong_day(report.file, "was sampled", said, at.date())
    if received is not None and received < at.date():
        yield _wrong_day(report.file, "reached the laboratory", received, at.date())


def _wrong_day(file: str, what: str, said: date, at: date) -> Finding:
    return Finding(
        what=f"the report says that the water {what} on {said}; the sample is of {at}",
        where=file,
        expected="dates that fit one sample",
        do="Check that it is the report of this sample; a date the laboratory got "
        "wrong can be left out with --skip and the name it stands under.",
    )


def _open_samples(
    ledger: LedgerFile, samples: Iterable[SampleTaken], zones: Mapping[str, str]
) -> str:
    """The samples without a report, newest first."""
    reported = {one.sample for one in told(ledger, ReportImported)}
    waiting = [one for one in samples if one.sample not in reported]
    waiting.sort(key=lambda one: (one.taken_at, one.sample), reverse=True)
    words = [
        f"{one.sample} ({one.tank}, {_local(one, zones)})"
        for one in waiting[:_SAMPLES_SHOWN]
    ]
    if len(waiting) > _SAMPLES_SHOWN:
        words.append(f"and {len(waiting) - _SAMPLES_SHOWN} more")
    return ", ".join(words) or _NONE_OPEN


def _local(one: SampleTaken, zones: Mapping[str, str]) -> str:
    return local(one.taken_at, zones.get(one.tank, UTC_ZONE))


def _unknown_sample(asked: str, waiting: str) -> Finding:
    return Finding(
        what=f'there is no sample "{asked}"',
        where="--sample",
        expected=f"an open sample: {waiting}",
        do="Say when the water was taken with --sampled-at; `slackwater sample` gives "
        "the next bottle its id."
        if waiting == _NONE_OPEN
        else "Name one of them, or say when the water was taken with --sampled-at.",
    )


def _no_time(waiting: str) -> Finding:
    return Finding(
        what="nothing says when the water was taken",
        where="import",
        expected=f"--sample ID or --sampled-at TIME; open samples: {waiting}",
        do='Give one of the two, like  --sampled-at "2026-05-03 10:00"',
    )


def _both() -> Finding:
    return Finding(
        what="--sample and --sampled-at are both given",
        where="import",
        expected="one of the two: a sample knows when it was taken",
        do="Take one out.",
    )


def _unknown_tank(machine: Machine, asked: str) -> Finding:
    what = f'there is no tank "{asked}"' if asked else "no tank was named"
    return Finding(
        what=what,
        where="--tank",
        expected=f"one of {', '.join(sorted(machine.tanks))}",
        do="Name one of them.",
    )


def _other_tank(sample: SampleTaken, asked: str) -> Finding:
    return Finding(
        what=f'sample {sample.sample} is of tank {sample.tank}, not "{asked}"',
        where="--tank",
        expected="the tank of the sample, or no --tank",
        do="Check which of the two is right.",
    )


def _future(sample: SampleTaken, now: datetime) -> Finding:
    return Finding(
        what=f"sample {sample.sample} lies in the future: it was taken at "
        f"{sample.taken_at:%Y-%m-%dT%H:%M:%SZ}",
        where="--sample",
        expected=f"a time up to now, {now:%Y-%m-%dT%H:%M:%SZ}",
        do="Check the date and the clock.",
    )
