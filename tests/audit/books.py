"""Invented books for the audit: an approval, doses as the plan lays them, and slips.

The doses come from the daemon's own timetable, which the audit does not know: where
the two agree, two readings of one plan agree.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import cast

from slackwater.audit.audit import Audit, Books, audit
from slackwater.facts.doses import DoseEnded, DoseIntended, DoseMissed, attempt_id
from slackwater.facts.events import AnyEvent, PlanApproved, PumpsEnabled
from slackwater.facts.messages import RunPump
from slackwater.facts.plan import Approval, DueDose, Plan
from slackwater.facts.reasons import Code, because
from slackwater.facts.tank import Machine
from slackwater.outside.approved import machine_text, plan_text
from slackwater.planning.timetable import Timetable
from slackwater.pump.command import calibration_id
from slackwater.pump.outcome import Stamp
from tests.planning import plans

BEGIN = datetime(2026, 5, 3, tzinfo=UTC)
DAY = timedelta(days=1)
LONG = timedelta(days=180)


def stamp(at: datetime) -> Stamp:
    """Clocks that all go on alike from the beginning."""
    passed_s = (at - BEGIN).total_seconds()
    return {"at": at, "boot_s": 1e6 + passed_s, "proven_ms": int(passed_s * 1000)}


def machine() -> Machine:
    """The reef of the planning tests with lateness as it is by default."""
    return plans.machine("UTC", other_zone="UTC")


def plan() -> Plan:
    """Two lines over the whole day, twelve and four doses."""
    return plans.plan(
        plans.line("carbonate", 36_000, 12),
        plans.line("trace", 4_001, 4),
        starts=BEGIN.date(),
    )


def approved(
    serial: int, at: datetime, what: tuple[Machine, Plan], **fields: object
) -> PlanApproved:
    """An approval that takes over at once, with the approved texts."""
    made = Approval(
        serial=serial,
        digest=f"{serial:064x}",
        takes_over_at=at,
        expires_at=at + LONG,
        by="keeper",
        highest_daily_ul=0,
    )
    return PlanApproved(
        **stamp(at),
        approval=replace(made, **fields),  # type: ignore[arg-type]  # any field
        machine=machine_text(what[0]),
        plan=plan_text(what[1]),
        files={},
    )


def intended(dose: DueDose, made: Machine, at: datetime | None = None) -> DoseIntended:
    """The intent of a dose, exactly as approved, begun when it is due."""
    pump = made.pumps[dose.pump]
    run_ms = dose.volume_ul * 1_000_000 // pump.rate_nl_per_s
    longest_ms = max(run_ms * 115 // 100, run_ms + 150)
    return DoseIntended(
        **stamp(at or dose.due_at),
        dose=dose,
        dose_kind="plan",
        command=RunPump(
            node=pump.node,
            channel=pump.channel,
            attempt=attempt_id("books", dose.id),
            boot="9e1b" * 4,
            n=1,
            fence=1,
            ul=dose.volume_ul,
            ms=run_ms,
            cut_ms=min(longest_ms, made.nodes[pump.node].cut_limit_ms),
            until_up=1,
            cal=calibration_id(pump.id, pump.rate_nl_per_s),
        ),
        planned_ul=dose.volume_ul,
        solution=pump.solution,
        local_day=dose.local_day,
        odo_ul=0,
        flow_end_ms=0,
        serial=1,
    )


def ended(intent: DoseIntended, believed_ul: int | None = None) -> DoseEnded:
    """The end of a run, as asked unless told otherwise."""
    ul = intent.command.ul if believed_ul is None else believed_ul
    return DoseEnded(
        **stamp(intent.at + timedelta(seconds=5)),
        attempt=intent.command.attempt,
        how="full",
        believed_ul=ul,
        charge_ul=max(ul, intent.command.ul),
        source="reported",
    )


def missed(dose: DueDose, *codes: Code) -> DoseMissed:
    """A dose that was written off at its latest start."""
    at = dose.latest_at + timedelta(seconds=1)
    return DoseMissed(**stamp(at), dose=dose, reasons=tuple(map(because, codes)))


@dataclass(slots=True)
class Days:
    """Two days of doses, given as approved until somebody changes an entry.

    `rules` and `live` may be changed at will; entries are numbered in order of time.
    """

    machine: Machine = field(default_factory=machine)
    plan: Plan = field(default_factory=plan)
    rules: list[AnyEvent] = field(default_factory=list)
    live: list[AnyEvent] = field(default_factory=list)
    shadow: list[AnyEvent] = field(default_factory=list)
    promised: dict[str, int] | None = None

    def __post_init__(self) -> None:
        """Approve, enable, and give every dose of two days."""
        self.rules += [
            approved(1, BEGIN, (self.machine, self.plan)),
            PumpsEnabled(**stamp(BEGIN), by="keeper", serial=1),
        ]
        for dose in self.doses():
            self.give(dose)

    def doses(self) -> list[DueDose]:
        """The doses of the two days, as the daemon's timetable lays them."""
        first, end = BEGIN - timedelta(microseconds=1), BEGIN + 2 * DAY
        timetable = Timetable(self.plan, self.machine)
        return timetable.between(first, end - timedelta(microseconds=1))

    def give(self, dose: DueDose, at: datetime | None = None) -> DoseIntended:
        """Write the intent of a dose and its end."""
        intent = intended(dose, self.machine, at)
        self.live += [intent, ended(intent)]
        return intent

    def intents(self) -> list[DoseIntended]:
        """The intents so far."""
        return [event for event in self.live if isinstance(event, DoseIntended)]

    def one(self) -> DoseIntended:
        """A dose of carbonate in the middle of the first day."""
        return next(
            one
            for one in self.intents()
            if one.dose.id.endswith("carbonate@2026-05-03#06")
        )

    def change(self, intent: DoseIntended, **fields: object) -> None:
        """Put another intent in the place of one."""
        changed = replace(intent, **fields)  # type: ignore[arg-type]  # any field
        self.live[self.live.index(intent)] = changed

    def drop(self, intent: DoseIntended) -> None:
        """Take out an intent with all that was heard of it."""
        attempt = intent.command.attempt
        self.live = [
            event
            for event in self.live
            if event is not intent and getattr(event, "attempt", "") != attempt
        ]

    def audited(
        self,
        until: datetime | None = None,
        *,
        now: datetime | None = None,
        decided_at: datetime | None = None,
    ) -> Audit:
        """What the audit makes of it; three days later, unless told otherwise."""
        entries = sorted([*self.rules, *self.live], key=lambda event: event.at)
        numbered = list(enumerate(entries, start=1))
        ends = BEGIN + 3 * DAY
        return audit(
            Books(
                rules=numbered,
                live=numbered,
                shadow=list(enumerate(self.shadow, start=1)),
                decided_at=decided_at or ends,
                now=now or ends,
                promised=self.promised,
            ),
            BEGIN,
            until or BEGIN + 2 * DAY,
        )


def wrongs(found: Audit) -> Iterator[tuple[str, str]]:
    """Kind and dose of everything that departs."""
    for one in found.departures:
        yield cast("str", one.wrong), one.dose
