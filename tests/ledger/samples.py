"""Invented entries of an invented reef: one of every kind, and ledgers made of them."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TypedDict

from slackwater.facts.alarms import AlarmChanged, AlarmRaised, Cause
from slackwater.facts.events import (
    AnyEvent,
    Calibrated,
    ChargeRaised,
    Checkpoint,
    ClockConfirmed,
    DoseEnded,
    DoseHanded,
    DoseHeld,
    DoseIntended,
    DoseMissed,
    DoseRefusedByNode,
    DoseSealed,
    DoseTaken,
    DoseVoided,
    EndedHow,
    FilesDiffer,
    HoldRaised,
    HoldReleased,
    LedgerMade,
    PlanApproved,
    PlanWithdrawn,
    PumpsDisabled,
    PumpsEnabled,
    ReadingKept,
    RequestHeard,
    ResumeBegan,
    ResumeEnded,
    ShotRequested,
    SpanMissed,
    Started,
    Stopped,
    WatchKept,
)
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.messages import RunPump
from slackwater.facts.plan import Approval, DueDose
from slackwater.facts.reasons import Code, because
from slackwater.facts.relays import RelayChecked
from slackwater.facts.safeguards import AwayEnded, BypassEnded, ProbePutBack
from slackwater.ledger.connection import Footing
from slackwater.ledger.store import LedgerFile
from tests.facts import safeguards
from tests.facts.diary import taken_back
from tests.facts.stages import each_stage
from tests.ledger.audit_samples import audited, inputs, restored

NOON = datetime(2026, 5, 3, 12, 0, 0, 250_000, tzinfo=UTC)
DAY = date(2026, 5, 3)
# Short enough for a test to wait out, long enough for two writers to take turns.
FOOTING = Footing(busy_ms=200)
PATIENT = Footing(busy_ms=10_000)


class Clocks(TypedDict):
    """What every entry carries."""

    at: datetime
    boot_s: float
    proven_ms: int


def clocks(seconds: float = 0.0) -> Clocks:
    """The clocks some seconds after noon."""
    return {
        "at": NOON + timedelta(seconds=seconds),
        "boot_s": 100.5 + seconds,
        "proven_ms": int(seconds * 1000),
    }


def made(ledger_id: str = "reef-7f3a") -> LedgerMade:
    """The first entry of a ledger."""
    return LedgerMade(
        **clocks(),
        ledger_id=ledger_id,
        boot_id="boot-1",
        answered=True,
        dosed_ul={"left": 1200},
        effects={"reef": {"alkalinity": 2_264_400}},
        by="keeper",
    )


def due(ordinal: int = 7, line: str = "carbonate", pump: str = "left") -> DueDose:
    """One dose of the invented plan."""
    return DueDose(
        id=f"reef/{line}@2026-05-03#{ordinal:02}",
        line=line,
        tank="reef",
        pump=pump,
        local_day=DAY,
        ordinal=ordinal,
        due_at=NOON + timedelta(minutes=30 * ordinal),
        latest_at=NOON + timedelta(minutes=30 * ordinal + 7),
        volume_ul=2000,
    )


def intended(ordinal: int = 7, attempt: str = "", pump: str = "left") -> DoseIntended:
    """An intent for `due(ordinal)`; the attempt follows from the ordinal by itself."""
    dose = due(ordinal, pump=pump)
    return DoseIntended(
        **clocks(ordinal),
        dose=dose,
        dose_kind="plan",
        command=RunPump(
            node="shelf",
            channel="a",
            attempt=attempt or f"{ordinal:032x}",
            boot="9e1b7c2d9e1b7c2d",
            n=ordinal,
            fence=3,
            ul=1990,
            ms=1210,
            cut_ms=1400,
            until_up=131_456,
            cal="77aa01cf",
        ),
        planned_ul=2000,
        solution="carbonate",
        local_day=DAY,
        odo_ul=12_000,
        flow_end_ms=10_000 + 1000 * ordinal,
        verdict="shortened",
        reasons=(because(Code.ALKALINITY_STALE, age_s=7200.5, probe="probe-1"),),
        effects={"sodium": 3, "alkalinity": 3_755_130},
        planned_effects={"alkalinity": 3_774_000},
        serial=2,
    )


def started() -> Started:
    """A daemon that took charge."""
    return Started(
        **clocks(),
        version="0.1",
        boot_id="boot-1",
        fence=3,
        mode="live",
        zone_sha256={"Europe/Berlin": "ab" * 32},
        shortened_timing=("start_hold_off_s",),
    )


def kept(number: int = 0) -> ReadingKept:
    """A small entry nobody minds having many of; told apart by its time."""
    return ReadingKept(
        **clocks(number),
        tank="reef",
        probe="probe-1",
        parameter="alkalinity",
        value=2.9173,
        taken_at=NOON + timedelta(seconds=number, microseconds=1),
    )


def approved() -> PlanApproved:
    """A person's consent, with awkward letters in its texts."""
    return PlanApproved(
        **clocks(),
        approval=Approval(
            serial=2,
            digest="0f" * 32,
            takes_over_at=NOON + timedelta(hours=12),
            expires_at=NOON + timedelta(days=180),
            by="keeper",
            highest_daily_ul=96_000,
            calibrations={"left": "77aa01cf"},
            hardware={"shelf": ("board-7c9e", "0badcafe")},
        ),
        machine='{"site":"reef"}',
        plan='{"name":"Grüne \\" Zeile\\n\u2028"}',
        files={"plan.toml": "cd" * 32},
    )


def of_every_kind() -> tuple[AnyEvent, ...]:
    """One entry of every kind but those of the water, most fields not by default."""
    return (
        *_of_the_machine(),
        *_of_doses(),
        *_of_people(),
        *_of_alarms(),
        *_of_the_guards(),
        audited(clocks(36_000)),
        restored(clocks()),
        inputs(clocks()),
        checkpoint("{}"),
    )


def _of_the_machine() -> tuple[AnyEvent, ...]:
    return (
        made(),
        started(),
        Stopped(**clocks(), why="asked to"),
        Calibrated(
            **clocks(),
            pump="left",
            rate_nl_per_s=1_650_000,
            cal="77aa01cf",
            shots=3,
            spread_percent=1.25,
            proofs=("seen", "cut"),
            by="keeper",
        ),
        Calibrated(
            **clocks(),
            pump="left",
            rate_nl_per_s=500_000,
            cal="77aa01ce",
            shots=3,
            spread_percent=0.4,
            proofs=("identity", "cut-off", "lost-link"),
            by="keeper",
            hw="bench-1",
            cfg="0badcafe",
            offset_nl=-40_000,
            rate_interval_nl_per_s=(423_753, 576_247),
            offset_interval_nl=(-136_032, 56_032),
            smallest_ul=135,
            runs=((1000, 460), (6000, 2960), (1000, 460)),
        ),
        kept(),
        SeriesJudged(
            **clocks(),
            tank="reef",
            source="probe/probe-1",
            verdict="swing-up",
            taken_at=NOON,
            reason=because(Code.ALKALINITY_SWING_UP, off_meq_per_l=0.31),
            excess=True,
        ),
        ResumeBegan(**clocks(), tank="reef", planned=10**15, believed=3),
        ResumeEnded(**clocks(), tank="reef"),
        FilesDiffer(**clocks(), names=("plan.toml",)),
        WatchKept(**clocks(), given=2, missed=1),
    )


def _of_doses() -> tuple[AnyEvent, ...]:
    dose = intended()
    attempt = dose.command.attempt
    late = (because(Code.WINDOW_PASSED, late_s=421.0),)
    return (
        DoseHeld(**clocks(), dose_id=dose.dose.id, pump="left", reasons=late),
        DoseMissed(**clocks(), dose=due(8), reasons=late, effects={"alkalinity": 5}),
        SpanMissed(
            **clocks(),
            tank="reef",
            line="carbonate",
            first_due=NOON,
            last_due=NOON + timedelta(days=3),
            doses=144,
            volume_ul=288_000,
            reasons=late,
        ),
        dose,
        DoseHanded(**clocks(), attempt=attempt, certain=False),
        DoseTaken(**clocks(), attempt=attempt),
        ended(attempt),
        DoseRefusedByNode(**clocks(), attempt=attempt, word="late"),
        DoseVoided(**clocks(), attempt=attempt, reasons=(because(Code.NOT_TAKEN),)),
        DoseSealed(**clocks(), attempt=attempt, reasons=(because(Code.NODE_SILENT),)),
        ChargeRaised(**clocks(), attempt=attempt, pump="left", charge_ul=2100),
    )


def _of_people() -> tuple[AnyEvent, ...]:
    return (
        approved(),
        PlanWithdrawn(**clocks(), serial=2, by="keeper", why="new salt"),
        PumpsEnabled(**clocks(), by="keeper", serial=2),
        PumpsDisabled(**clocks(), by="keeper", why="away"),
        HoldRaised(
            **clocks(),
            hold_id="hold-1",
            scope="pump/left",
            reason=because(Code.OVER_DELIVERED, ul=2300, latched=True, share=1.0),
            latched=True,
            until=NOON + timedelta(minutes=30),
            by="keeper",
            note="cleaning the sump",
        ),
        HoldReleased(**clocks(), hold_id="hold-1", by="keeper", why="done"),
        ShotRequested(
            **clocks(),
            request="shot-1",
            pump="left",
            volume_ul=10_000,
            until=NOON + timedelta(minutes=30),
            by="keeper",
        ),
        taken_back(clocks(), "shot-1"),
        RequestHeard(
            **clocks(),
            request="ask-1",
            act="skip",
            tank="reef",
            granted=True,
            note="guests",
            dose=due(9).id,
        ),
        ClockConfirmed(**clocks(), boot_id="boot-1", by="keeper"),
        RelayChecked(
            **clocks(), node="plug", relay="0badcafe", until=NOON, by="keeper"
        ),
        *each_stage(clocks()),
    )


def alarmed() -> AlarmRaised:
    """A node that is not heard, told for the second time."""
    return AlarmRaised(
        **clocks(),
        alarm="node-absent.shelf",
        cause=Cause.NODE_ABSENT,
        about="shelf",
        priority="soon",
        tanks=("reef",),
        hours_left=23.5,
        level_meq_per_l={"reef": 2.853},
        figures={"beat_age_s": 41.5, "short_dkh": None},
        reminder=10,
        stops=("reef/carbonate",),
    )


def _of_alarms() -> tuple[AnyEvent, ...]:
    return (
        alarmed(),
        AlarmChanged(
            **clocks(),
            alarm="node-absent.shelf",
            to="suppressed",
            by="keeper",
            note="new power supply is on its way",
            until=NOON + timedelta(hours=8),
        ),
    )


def _of_the_guards() -> tuple[AnyEvent, ...]:
    return (
        safeguards.bypassed(clocks()),
        BypassEnded(**clocks(), interlock="leak", by="daemon", why="time passed"),
        safeguards.taken_out(clocks()),
        ProbePutBack(**clocks(), probe="kh", by="keeper", why="new cable"),
        safeguards.away(clocks()),
        AwayEnded(**clocks(), by="keeper", note="all is well"),
        safeguards.filled(clocks()),
        *(made(clocks()) for made in safeguards.AT_THE_PUMPS),
        safeguards.summed(clocks()),
        *safeguards.from_afar(clocks()),
    )


def ended(attempt: str, how: EndedHow = "full", seconds: float = 9.0) -> DoseEnded:
    """The end of a run, a little more than asked."""
    return DoseEnded(
        **clocks(seconds),
        attempt=attempt,
        how=how,
        believed_ul=1996,
        charge_ul=1996,
        source="reported",
        ran_ms=1207,
    )


def checkpoint(state: str, number: int = 0) -> Checkpoint:
    """A checkpoint that carries this state text."""
    return Checkpoint(**clocks(number), state=state)


def new_ledger(
    path: Path, events: Sequence[AnyEvent] = (), footing: Footing = FOOTING
) -> LedgerFile:
    """A live ledger with these entries after its first."""
    ledger = LedgerFile.create(path, made(), "live", footing)
    ledger.append(events)
    return ledger


@contextmanager
def another_program(path: Path) -> Iterator[sqlite3.Connection]:
    """The file as any other program can open it, with nothing of ours set."""
    with closing(sqlite3.connect(path, timeout=5.0, isolation_level=None)) as stranger:
        yield stranger
