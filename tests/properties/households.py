"""Random households: a machine, two plans for it, and what lies behind them.

All figures are invented. One microlitre takes a millisecond; caps are so narrow, and
doses so close, that half an hour reaches what a tank reaches in a week.
"""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

from slackwater.facts.plan import Group, Plan, PlanLine, Purpose, Window
from slackwater.facts.tank import (
    AlkalinityGuard,
    EffectCap,
    Machine,
    Node,
    Outside,
    Probe,
    Pump,
    Reservoir,
    Solution,
    Tank,
    Timing,
    Uptake,
)

# Zones and days with clock changes among them: IANA time zone database.
DAYS = (
    ("Europe/Berlin", date(2026, 5, 3)),
    ("Europe/Berlin", date(2026, 3, 29)),
    ("Europe/Berlin", date(2026, 10, 25)),
    ("America/St_Johns", date(2026, 3, 8)),
    ("America/St_Johns", date(2026, 11, 1)),
    ("Australia/Lord_Howe", date(2026, 4, 5)),
    ("Australia/Lord_Howe", date(2026, 10, 4)),
    ("UTC", date(2026, 12, 31)),
)
DAY_MINUTES = 24 * 60
NET_UL = 200_000_000
PLAN_MINUTES = 12
PLENTY = 10**15
PEQ_PER_UL = 1_000_000
PG_PER_UL = 10_000_000
MEQ_PER_DKH = 0.35665246  # 10 mg/L CaO a degree
# The two that are kept apart share a node; the third has one of its own.
HEADS = (
    ("carbonate", "shelf", "a"),
    ("calcium", "shelf", "b"),
    ("trace", "rack", "a"),
)
NARROW = (
    *("", "", "", "", "", "", "", "", "", ""),
    *("dose", "hour", "day", "day", "gross", "net", "node", "limit", "smallest"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Home:
    """What a scenario begins with; `dose_ul` is what most of its doses are."""

    begin: datetime
    machine: Machine
    other_machine: Machine
    plan: Plan
    other_plan: Plan
    dose_ul: int
    narrow: str


def draw_home(chance: Random) -> Home:
    """A household by chance alone."""
    zone, day = chance.choice(DAYS)
    minute = chance.choice((chance.randrange(DAY_MINUTES), 23 * 60 + 50, 115, 178))
    begin = datetime.combine(day, time(), ZoneInfo(zone)).astimezone(UTC)
    begin += timedelta(minutes=minute, seconds=chance.randrange(60))
    dose_ul = chance.choice((600, 1500, 4000, 8999))
    narrow = chance.choice(NARROW)
    machine = _machine(chance, zone, (dose_ul, narrow))
    local = begin.astimezone(ZoneInfo(zone))
    plan = _plan(chance, local, dose_ul)
    changed = _changed(chance, machine)
    return Home(
        begin=begin,
        machine=machine,
        other_machine=changed,
        plan=plan,
        other_plan=_other(chance, plan, changed),
        dose_ul=dose_ul,
        narrow=narrow,
    )


def _machine(chance: Random, zone: str, doses: tuple[int, str]) -> Machine:
    dose_ul, narrow = doses
    probed = chance.random() < 0.5
    return Machine(
        site="home",
        tanks={"reef": _tank(chance, zone, doses)},
        solutions={
            "carbonate": _solution("carbonate", alkalinity=PEQ_PER_UL),
            "calcium": _solution("calcium", calcium=PG_PER_UL),
            "trace": _solution("trace"),
        },
        reservoirs={"one": Reservoir(id="one", content_ul=5_000_000)},
        nodes={
            name: Node(
                id=name,
                day_limit_ul=4 * dose_ul if narrow == "node" else 500_000,
                cut_limit_ms=dose_ul + 50 if narrow == "limit" else 20_000,
            )
            for name in ("shelf", "rack")
        },
        pumps={
            name: _pump(chance, (name, node, channel), doses)
            for name, node, channel in HEADS
        },
        probes={name: _probe(name) for name in ("kh", "kh-two")[: 1 + probed]}
        if probed
        else {},
        guards={"reef": GUARD} if probed else {},
        outside=(
            Outside(id="lime", tank="reef", parameter="alkalinity", per_day=dose_ul),
        ),
        apart={"carbonate": ("calcium",), "calcium": ("carbonate",)},
        timing=Timing(
            beat_fresh_s=20.0,
            deadline_s=chance.choice((3.0, 3.0, 8.0, 30.0)),
            start_hold_off_s=chance.choice((1.0, 10.0)),
            start_beats=chance.choice((1, 2)),
            same_pump_gap_s=chance.choice((1.0, 1.0, 20.0)),
            apart_gap_s=chance.choice((2.0, 5.0, 40.0)),
            starts_allowed=chance.choice((3, 100, 100, 100)),
        ),
    )


def _solution(name: str, **effects: int) -> Solution:
    return Solution(id=name, name=name, effects=effects)


def _tank(chance: Random, zone: str, doses: tuple[int, str]) -> Tank:
    dose_ul, narrow = doses
    few = chance.randint(2, 6) * dose_ul * PEQ_PER_UL + chance.choice((-1, 0, 1))
    low = chance.randrange(20 * dose_ul) * PEQ_PER_UL
    return Tank(
        id="reef",
        name="invented reef",
        net_ul=NET_UL,
        zone=zone,
        caps={
            "alkalinity": EffectCap(
                gross=few if narrow == "gross" else PLENTY,
                net_rise=few if narrow == "net" else None,
            ),
            "calcium": EffectCap(gross=PLENTY),
        },
        uptake={"alkalinity": Uptake(estimate=2 * low, low=low)}
        if chance.random() < 0.5
        else {},
    )


def _pump(chance: Random, head: tuple[str, str, str], doses: tuple[int, str]) -> Pump:
    name, node, channel = head
    dose_ul, narrow = doses
    few_ul = chance.randint(2, 6) * dose_ul + chance.choice((-1, 0, 1))
    return Pump(
        id=name,
        tank="reef",
        node=node,
        channel=channel,
        solution=name,
        reservoir="one",
        rate_nl_per_s=1_000_000,
        smallest_dose_ul=dose_ul if narrow == "smallest" else dose_ul // 3,
        per_dose_ul=dose_ul - 1 if narrow == "dose" else 2 * dose_ul,
        per_day_ul=few_ul if narrow == "day" else 400_000,
        per_hour_ul=few_ul if narrow == "hour" else None,
        per_calibration_ul=3 * dose_ul,
    )


GUARD = AlkalinityGuard(
    ceiling=9.7 * MEQ_PER_DKH,
    floor=6.5 * MEQ_PER_DKH,
    rise=0.8 * MEQ_PER_DKH,
    fall=0.8 * MEQ_PER_DKH,
    spread=0.5 * MEQ_PER_DKH,
    hysteresis=0.2 * MEQ_PER_DKH,
    good_readings=3,
    hold_at_least_s=120.0,
)


def _probe(name: str) -> Probe:
    return Probe(
        id=name,
        tank="reef",
        parameter="alkalinity",
        unit="meq/L",
        scale=1.0,
        offset=0.0,
        period_s=60.0,
        resolution=0.01 * MEQ_PER_DKH,
        low=1.0,
        high=8.0,
    )


def _plan(chance: Random, local: datetime, dose_ul: int) -> Plan:
    """Doses each minute or two from now on; a pair in a group, or not."""
    start = local.hour * 60 + local.minute - chance.choice((0, 0, 3))
    paired = chance.random() < 0.5
    names = ["carbonate", "calcium", "trace"][: chance.choice((1, 2, 2, 3))]
    every = chance.choice((1, 1, 2))
    lines = tuple(_line(name, (start, every), dose_ul, paired=paired) for name in names)
    group = Group(id="pair", ratio={"carbonate": 1, "calcium": 1})
    return Plan(
        name="first",
        starts=local.date() - timedelta(days=2),
        lines=lines,
        groups={"pair": group} if paired else {},
    )


def _line(name: str, span: tuple[int, int], dose_ul: int, *, paired: bool) -> PlanLine:
    start, every = span
    return PlanLine(
        id=name,
        tank="reef",
        solution=name,
        pump=name,
        per_day_ul=dose_ul * (PLAN_MINUTES // every),
        count=PLAN_MINUTES // every,
        windows=windows(start % DAY_MINUTES, PLAN_MINUTES),
        group="pair" if paired and name != "trace" else "",
    )


def windows(start: int, minutes: int) -> tuple[Window, ...]:
    """Some minutes of the day, in two windows where they pass midnight."""
    end = start + minutes
    evening = Window(start_minute=start, end_minute=min(end, DAY_MINUTES))
    if end <= DAY_MINUTES:
        return (evening,)
    return (Window(start_minute=0, end_minute=end - DAY_MINUTES), evening)


def _other(chance: Random, plan: Plan, machine: Machine) -> Plan:
    """A later plan for the same lines: other volumes, counts or purposes."""
    purpose: Purpose = chance.choice(("maintenance", "correction"))
    count = chance.choice((4, 8, 12))
    # A plan needs a line; without its carbonate pump it keeps another.
    kept = [line for line in plan.lines if line.pump in machine.pumps]
    lines = tuple(
        replace(
            line,
            count=count,
            per_day_ul=line.per_day_ul // line.count * count + chance.randrange(count),
            purpose=purpose,
            solution=machine.pumps[line.pump].solution,
            group=line.group if len(kept) > 1 else "",
        )
        for line in kept or [replace(plan.lines[0], id="trace", pump="trace")]
    )
    return replace(plan, name="second", lines=lines)


def _changed(chance: Random, machine: Machine) -> Machine:
    """A later machine: other gaps, caps, or what a pump gives."""
    what = chance.choice(("gap", "caps", "solution", "gone", "same"))
    if what == "gap":
        timing = replace(machine.timing, apart_gap_s=25.0, same_pump_gap_s=3.0)
        return replace(machine, timing=timing)
    pump = machine.pumps["carbonate"]
    if what == "gone":
        others = {n: each for n, each in machine.pumps.items() if n != "carbonate"}
        return replace(machine, pumps=others)
    if what == "caps":
        pump = replace(pump, per_day_ul=pump.per_day_ul // 2)
    elif what == "solution":
        pump = replace(pump, solution="trace")
    return replace(machine, pumps={**machine.pumps, "carbonate": pump})
