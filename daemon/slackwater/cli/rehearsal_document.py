"""A rehearsal with its digest, and the document it becomes.

Floor 8. One subject: the machine form of a rehearsal. Laws here: every figure comes
from the record; volumes are whole microlitres, effects decimal strings.
"""

from dataclasses import dataclass

from slackwater.cli.amounts import display_unit, effect_decimal, effect_words
from slackwater.cli.document import reason_document
from slackwater.cli.reading import Files
from slackwater.errors import Finding
from slackwater.facts.tank import Machine
from slackwater.ledger.codec import timestamp
from slackwater.planning.daily import highest_daily_ul
from slackwater.rehearsal.record import (
    EffectDay,
    Nearest,
    PumpDay,
    Rehearsal,
    RehearsedDose,
    effect_days,
    pump_days,
)
from slackwater.water.show import show_volume

NOT_COVERED = (
    "Not covered: chemistry of the water beyond this forecast, siphons, welded "
    "contacts, the wrong bottle, an outlet out of the water."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsed:
    """A rehearsal with what it was made from."""

    files: Files
    digest: str
    record: Rehearsal
    findings: tuple[Finding, ...]

    @property
    def machine(self) -> Machine:
        """The machine that was rehearsed."""
        return self.files.machine

    @property
    def missed(self) -> list[RehearsedDose]:
        """The doses that would be missed."""
        return [dose for dose in self.record.doses if dose.verdict == "missed"]


def rehearsal_document(done: Rehearsed) -> dict[str, object]:
    """The whole rehearsal as a document."""
    record, machine = done.record, done.machine
    return {
        "digest": done.digest,
        "from": record.first.isoformat(),
        "until": record.until.isoformat(),
        "highest_daily_ul": highest_daily_ul(done.files.plan, machine),
        "doses": [dose_document(dose) for dose in record.doses],
        "days": [_day_document(day) for day in pump_days(machine, record.doses)],
        "effects": [
            _effect_document(day, machine) for day in effect_days(machine, record.doses)
        ],
        "closest": [_nearest_document(near, machine) for near in record.nearest],
        "empty": {
            name: None if day is None else day.isoformat()
            for name, day in sorted(record.empty_on.items())
        },
        "left_out": list(record.left_out),
        "not_covered": NOT_COVERED,
    }


def dose_document(each: RehearsedDose) -> dict[str, object]:
    """One dose and what became of it."""
    dose = each.dose
    return {
        "id": dose.id,
        "line": f"{dose.tank}/{dose.line}",
        "pump": dose.pump,
        "solution": each.solution,
        "due": timestamp(dose.due_at),
        "latest": timestamp(dose.latest_at),
        "planned_ul": dose.volume_ul,
        "volume_ul": each.volume_ul,
        "verdict": each.verdict,
        "reasons": [reason_document(reason) for reason in each.reasons],
    }


def _day_document(day: PumpDay) -> dict[str, object]:
    return {
        "date": day.day.isoformat(),
        "tank": day.tank,
        "pump": day.pump,
        "volume_ul": day.volume_ul,
        "cap_ul": day.cap_ul,
        "cap": f"[pump.{day.pump}] most_per_day",
    }


def _effect_document(day: EffectDay, machine: Machine) -> dict[str, object]:
    tank = machine.tanks[day.tank]
    rise = day.net_rise
    return {
        "date": day.day.isoformat(),
        "tank": day.tank,
        "parameter": day.parameter,
        "added": effect_decimal(day.parameter, day.added, tank),
        "net_rise": None if rise is None else effect_decimal(day.parameter, rise, tank),
        "unit": display_unit(day.parameter),
        "cap": effect_decimal(day.parameter, day.cap, tank),
    }


def _nearest_document(near: Nearest, machine: Machine) -> dict[str, object]:
    reached, ceiling = nearest_words(near, machine)
    return {
        "cap": near.cap,
        "subject": near.subject,
        "reached": near.reached,
        "ceiling": near.ceiling,
        "words": f"{reached} of {ceiling}",
        "dose": near.dose,
    }


def nearest_words(near: Nearest, machine: Machine) -> tuple[str, str]:
    """What was reached and the ceiling, for people."""
    tank, _, parameter = near.subject.partition(" ")
    if not parameter:
        return show_volume(near.reached), show_volume(near.ceiling)
    body = machine.tanks[tank]
    return (
        effect_words(parameter, near.reached, body),
        effect_words(parameter, near.ceiling, body),
    )
