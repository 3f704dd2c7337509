"""A tank that takes up less the lower its alkalinity is, and a plan that feeds it.

The tank is the one box of the resuming chapter: uptake U0 (A - 3) / (A0 - 3) in dKH a
day. It is stepped by its closed form, so that it shares no arithmetic with the gate.
"""

import math
from dataclasses import dataclass, replace
from datetime import timedelta

from slackwater.facts.events import (
    AnyEvent,
    DoseEnded,
    DoseIntended,
    DoseMissed,
    ResumeBegan,
    ResumeEnded,
)
from slackwater.facts.fold import fold
from slackwater.facts.messages import RunPump
from slackwater.facts.plan import DueDose
from slackwater.facts.tank import EffectCap, Machine, Uptake
from slackwater.gate.moment import Ask, Moment, rules_for
from slackwater.gate.resuming import has_recovered, must_resume
from slackwater.gate.verdict import Granted, effects_of, may_dose
from slackwater.pump.outcome import Stamp
from tests.gate.scene import (
    CARBONATE_PEQ_PER_UL,
    NOW,
    PROVEN_MS,
    TODAY,
    dkh,
    dkh_peq,
    machine,
    moment,
    plan,
)

DEAD_DKH = 3.0
BEFORE_DAYS = 2
OFF_DAYS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Reef:
    """What an invented tank is: uptake a day, usual level, and what is said of it.

    `true_share` is how much of the stated uptake it really takes; `low_share` the
    stated lower bound, None for a machine that states no uptake and no net limit.
    """

    uptake_dkh: float
    usual_dkh: float = 8.0
    true_share: float = 1.0
    low_share: float | None = 0.9
    target_stated: bool = True


def level_after(reef: Reef, level_dkh: float, days: float) -> float:
    """The level after so long without a dose: an exponential down to 3 dKH."""
    rate = reef.uptake_dkh * reef.true_share / (reef.usual_dkh - DEAD_DKH)
    return DEAD_DKH + (level_dkh - DEAD_DKH) * math.exp(-rate * days)


def settled(reef: Reef) -> float:
    """Where the full plan holds the tank for good: what comes in is taken up."""
    return DEAD_DKH + (reef.usual_dkh - DEAD_DKH) / reef.true_share


def fed(reef: Reef) -> Moment:
    """A moment whose plan replaces the stated uptake in 24 doses a day."""
    day_ul = round(dkh_peq(reef.uptake_dkh) / CARBONATE_PEQ_PER_UL)
    used = _machine(reef)
    lines = tuple(replace(line, per_day_ul=day_ul) for line in plan().lines)
    at = moment(used)
    return replace(at, rules=rules_for(used, replace(plan(), lines=lines)))


def _machine(reef: Reef) -> Machine:
    bare = machine()
    net = None if reef.low_share is None else dkh_peq(0.5)
    tank = replace(
        bare.tanks["reef"],
        caps={
            "alkalinity": EffectCap(gross=dkh_peq(6.0), net_rise=net),
            "calcium": bare.tanks["reef"].caps["calcium"],
        },
        uptake={},
        targets={"alkalinity": dkh(reef.usual_dkh)} if reef.target_stated else {},
    )
    if reef.low_share is not None:
        estimate = dkh_peq(reef.uptake_dkh)
        uptake = Uptake(estimate=estimate, low=int(estimate * reef.low_share))
        tank = replace(tank, uptake={"alkalinity": uptake})
    pumps = {
        name: replace(pump, per_dose_ul=10_000, per_day_ul=200_000)
        for name, pump in bare.pumps.items()
    }
    return replace(bare, tanks={"reef": tank}, pumps=pumps)


def levels(reef: Reef, back_days: int, *, slowly: bool = True) -> list[float]:
    """Hourly levels from the end of four days off on, the first at their end.

    `slowly` False leaves out what the turn does to come back: the full plan at once.
    """
    at = fed(reef)
    level, course = reef.usual_dkh, []
    hours = 24 * (BEFORE_DAYS + OFF_DAYS + back_days)
    for hour in range(hours):
        at = replace(
            at,
            now=replace(at.now, utc=NOW + timedelta(hours=hour)),
            proven_ms=PROVEN_MS + hour * 3_600_000,
        )
        off = 0 <= hour - 24 * BEFORE_DAYS < 24 * OFF_DAYS
        if hour >= 24 * (BEFORE_DAYS + OFF_DAYS):
            course.append(level)
        if slowly:
            _come_back(at)
        given_ul = _dose(at, hour, off=off)
        level += given_ul * CARBONATE_PEQ_PER_UL / dkh_peq(1.0)
        level = level_after(reef, level, 1 / 24)
    return [*course, level]


def _stamp(at: Moment) -> Stamp:
    return {"at": at.now.utc, "boot_s": at.now.boot_s, "proven_ms": at.proven_ms}


def _come_back(at: Moment) -> None:
    """What the turn does each time it looks."""
    event: AnyEvent
    if "reef" in at.state.resuming:
        if has_recovered(at, "reef"):
            fold(at.state, ResumeEnded(**_stamp(at), tank="reef"))
    elif must_resume(at, "reef"):
        event = ResumeBegan(**_stamp(at), tank="reef", planned=0, believed=0)
        fold(at.state, event)


def _dose(at: Moment, hour: int, *, off: bool) -> int:
    """One due dose of the carbonate line; gives what flowed, in microlitres."""
    rule = at.rules.lines["reef/carbonate"]
    day = TODAY + timedelta(days=hour // 24)
    dose = DueDose(
        id=f"reef/carbonate@{day.isoformat()}#{hour % 24 + 1:02}",
        line="carbonate",
        tank="reef",
        pump="carbonate",
        local_day=day,
        ordinal=hour % 24 + 1,
        due_at=at.now.utc,
        latest_at=at.now.utc + timedelta(minutes=15),
        volume_ul=rule.line.per_day_ul // 24,
    )
    ask = Ask(dose=dose, kind="plan", pump=at.rules.pumps["carbonate"], line=rule)
    planned = effects_of(ask, dose.volume_ul)
    verdict = None if off else may_dose(at, ask, day)
    if not isinstance(verdict, Granted):
        assert verdict is None or verdict.final, verdict
        missed = DoseMissed(**_stamp(at), dose=dose, reasons=(), effects=planned)
        fold(at.state, missed)
        return 0
    command = RunPump(
        node="shelf",
        channel="a",
        attempt=f"{hour:032x}",
        boot="9e1b" * 4,
        n=hour,
        fence=1,
        ul=verdict.volume_ul,
        ms=1,
        cut_ms=1,
        until_up=1,
        cal="77aa01cf",
    )
    fold(
        at.state,
        DoseIntended(
            **_stamp(at),
            dose=dose,
            dose_kind="plan",
            command=command,
            planned_ul=dose.volume_ul,
            solution="carbonate",
            local_day=day,
            odo_ul=0,
            flow_end_ms=at.proven_ms + 10_000,
            effects=verdict.effects,
            planned_effects=planned,
        ),
    )
    fold(
        at.state,
        DoseEnded(
            **_stamp(at),
            attempt=command.attempt,
            how="full",
            believed_ul=verdict.volume_ul,
            charge_ul=verdict.volume_ul,
            source="reported",
        ),
    )
    return verdict.volume_ul
