"""A ledger kept by hand: invented entries with clocks that go on, and their fold."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import TypedDict

from slackwater.facts.events import (
    AnyEvent,
    Calibrated,
    DoseEnded,
    DoseHeld,
    DoseIntended,
    DoseMissed,
    DoseVoided,
    EndedHow,
    HoldRaised,
    HoldReleased,
    LedgerMade,
    PlanApproved,
    ReadingKept,
    RequestHeard,
    RequestTakenBack,
    ShotRequested,
    SpanMissed,
    Started,
)
from slackwater.facts.fold import fold
from slackwater.facts.messages import RunPump
from slackwater.facts.plan import Approval, DueDose
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State

T0 = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
TODAY = date(2026, 5, 3)
BOOT = "9e1b" * 4
PEQ_PER_UL = 1_887_010
PG_PER_UL = 136_310_000
FIRST = "reef/carbonate@2026-05-03#01"
HOUR = timedelta(hours=1)


class Stamp(TypedDict):
    """The three clocks of an entry."""

    at: datetime
    boot_s: float
    proven_ms: int


def attempt(number: int) -> str:
    """The identity of the one attempt of an invented dose."""
    return f"{number:032x}"


def due(number: int, pump: str = "carbonate", day: date = TODAY) -> DueDose:
    """An invented dose of 2000 µL."""
    return DueDose(
        id=f"reef/{pump}@{day.isoformat()}#{number:02}",
        line=pump,
        tank="reef",
        pump=pump,
        local_day=day,
        ordinal=number,
        due_at=T0,
        latest_at=T0 + timedelta(minutes=15),
        volume_ul=2000,
    )


@dataclass(slots=True)
class Diary:
    """Entries in order with the state they fold to."""

    at: datetime = T0
    boot_s: float = 1000.0
    proven_ms: int = 0
    day: date = TODAY
    events: list[AnyEvent] = field(default_factory=list)
    state: State = field(default_factory=State)

    def wait(self, passed: timedelta) -> None:
        """Let all three clocks go on alike."""
        self.at += passed
        self.boot_s += passed.total_seconds()
        self.proven_ms += int(passed.total_seconds() * 1000)

    @property
    def stamp(self) -> Stamp:
        """The clocks now."""
        return {"at": self.at, "boot_s": self.boot_s, "proven_ms": self.proven_ms}

    def write(self, *events: AnyEvent) -> None:
        """Append and fold."""
        for event in events:
            self.events.append(event)
            fold(self.state, event)

    def make(self, *, answered: bool = True, dosed_ul: int = 0) -> None:
        """The first entry, with what the carbonate pump gave before."""
        given = {"carbonate": dosed_ul} if dosed_ul else {}
        effects = {"reef": {"alkalinity": dosed_ul * PEQ_PER_UL}} if dosed_ul else {}
        self.write(
            LedgerMade(
                **self.stamp,
                ledger_id="one",
                boot_id=BOOT,
                answered=answered,
                dosed_ul=given,
                effects=effects,
                by="keeper",
                highest_fence_heard=6,
            )
        )

    def start(self, fence: int = 7, boot: str = BOOT) -> None:
        """The daemon takes charge, live."""
        self.write(
            Started(**self.stamp, version="0", boot_id=boot, fence=fence, mode="live")
        )

    def approve(self, serial: int, ahead: timedelta = timedelta()) -> None:
        """A person's consent to an invented plan that takes over then."""
        approval = Approval(
            serial=serial,
            digest=f"{serial:064x}",
            takes_over_at=self.at + ahead,
            expires_at=self.at + timedelta(days=180),
            by="keeper",
            highest_daily_ul=96_000,
        )
        self.write(
            PlanApproved(
                **self.stamp, approval=approval, machine="{}", plan="{}", files={}
            )
        )

    def intend(
        self,
        number: int,
        *,
        ul: int = 2000,
        pump: str = "carbonate",
        in_water: bool = True,
    ) -> None:
        """An intent for one dose of 2000 µL; `ul` is what the node is asked for."""
        dose = due(number, pump, self.day)
        command = RunPump(
            node="shelf",
            channel="a",
            attempt=attempt(number),
            boot=BOOT,
            n=number,
            fence=7,
            ul=ul,
            ms=1500,
            cut_ms=1725,
            until_up=131_456,
            cal="77aa01cf",
        )
        effects = {"alkalinity": PEQ_PER_UL * ul, "calcium": PG_PER_UL * ul}
        planned = {"alkalinity": PEQ_PER_UL * 2000, "calcium": PG_PER_UL * 2000}
        self.write(
            DoseIntended(
                **self.stamp,
                dose=dose,
                dose_kind="plan" if in_water else "calibrate",
                command=command,
                planned_ul=2000,
                solution=pump,
                local_day=self.day,
                odo_ul=0,
                flow_end_ms=self.proven_ms + 9745,
                effects=effects if in_water else {},
                planned_effects=planned if in_water else {},
                in_water=in_water,
            )
        )

    def end(
        self,
        number: int,
        believed_ul: int,
        how: EndedHow = "full",
        *,
        charge_ul: int = 2000,
    ) -> None:
        """A reported end."""
        self.write(
            DoseEnded(
                **self.stamp,
                attempt=attempt(number),
                how=how,
                believed_ul=believed_ul,
                charge_ul=charge_ul,
                source="reported",
            )
        )

    def void(self, number: int) -> None:
        """The proof that a command never ran."""
        reasons = (because(Code.NOT_TAKEN),)
        self.write(DoseVoided(**self.stamp, attempt=attempt(number), reasons=reasons))

    def miss(self, number: int) -> None:
        """A dose that is not given and not made up."""
        effects = {"alkalinity": PEQ_PER_UL * 2000}
        reasons = (because(Code.WINDOW_PASSED),)
        self.write(
            DoseMissed(
                **self.stamp,
                dose=due(number, day=self.day),
                reasons=reasons,
                effects=effects,
            )
        )

    def hold(self, code: Code, scope: str = "all") -> None:
        """A latched hold whose identity is its code."""
        self.write(
            HoldRaised(
                **self.stamp,
                hold_id=code,
                scope=scope,
                reason=because(code),
                latched=True,
            )
        )

    def release(self, code: Code) -> None:
        """A person ends that hold."""
        self.write(HoldReleased(**self.stamp, hold_id=code, by="keeper"))


def begun() -> Diary:
    """A ledger with a daemon in charge, one minute old."""
    diary = Diary()
    diary.make()
    diary.start()
    diary.wait(timedelta(minutes=1))
    return diary


def calibrated(diary: Diary) -> Calibrated:
    """A measured flow."""
    return Calibrated(
        **diary.stamp,
        pump="carbonate",
        rate_nl_per_s=1_300_000,
        cal="77aa01cf",
        shots=3,
        spread_percent=0.8,
        proofs=("cut-off",),
        by="keeper",
    )


def shot(diary: Diary, request: str) -> ShotRequested:
    """A person's request for one run into a cylinder."""
    return ShotRequested(
        **diary.stamp,
        request=request,
        pump="carbonate",
        volume_ul=1000,
        until=diary.at + HOUR,
        by="keeper",
    )


def taken_back(stamp: Stamp, request: str) -> RequestTakenBack:
    """The person does not want that run any more."""
    return RequestTakenBack(
        **stamp,
        request=request,
        pump="carbonate",
        volume_ul=1000,
        by="keeper",
        why="the cup was full",
    )


def held(diary: Diary, dose_id: str = FIRST) -> DoseHeld:
    """A due dose that waits."""
    reasons = (because(Code.LINK_DOWN),)
    return DoseHeld(**diary.stamp, dose_id=dose_id, pump="carbonate", reasons=reasons)


def reading(diary: Diary, value: float = 2.9) -> ReadingKept:
    """A probe's value, taken when it is written."""
    return ReadingKept(
        **diary.stamp,
        tank="reef",
        probe="kh",
        parameter="alkalinity",
        value=value,
        taken_at=diary.at,
    )


def heard(
    diary: Diary, request: str, act: str = "skip", *, granted: bool = True
) -> RequestHeard:
    """A request from afar about the first dose."""
    return RequestHeard(
        **diary.stamp,
        request=request,
        act=act,
        tank="reef",
        granted=granted,
        dose=FIRST,
    )


def span_missed(diary: Diary) -> SpanMissed:
    """A long absence in one entry."""
    return SpanMissed(
        **diary.stamp,
        tank="reef",
        line="carbonate",
        first_due=T0,
        last_due=diary.at,
        doses=4,
        volume_ul=8000,
        reasons=(because(Code.NOT_RUNNING),),
    )
