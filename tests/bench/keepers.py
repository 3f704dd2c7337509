"""Invented tanks lived through by three keepers, for `tests.bench.tanks`.

One keeper does what `propose` says, one doses by the last test, one never changes the
dose. All see the same water and mishaps, and test by the same rhythm with the same
errors; only the first looks at uptake. He does the whole of what he is told: he tests
again on the next day where a test is doubted, pastes the uptake that is named, and
begins with a plan that `check` takes. His tests are counted.
Alkalinity in dKH, time in days from the first midnight.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from statistics import fmean

from slackwater.assessment.assess import assess
from slackwater.assessment.evidence import evidence_of
from slackwater.assessment.knobs import per_day_ul, runs_on
from slackwater.assessment.proposal import Asked
from slackwater.assessment.records import Assessment
from slackwater.assessment.stating import uptakes_to_state
from slackwater.facts.history import Delivery, History
from slackwater.facts.plan import Plan, PlanLine, Window
from slackwater.facts.tank import (
    EffectCap,
    Machine,
    Node,
    Pump,
    Reservoir,
    Solution,
    Tank,
    Uptake,
)
from slackwater.facts.waters import MeasurementKept
from slackwater.service.proposing import propose_fitting

DAYS = 180
HOURS = 24
START = datetime(2026, 1, 5, tzinfo=UTC)
TARGET_DKH = 8.0
# Uptake falls with alkalinity to nothing at rest, which differs from tank to tank and
# which no keeper knows: the estimator counts on 3.
REST_DKH = (2.0, 4.0)
MEQ = 0.356652
LITRES = 300
PEQ_PER_UL = 1_887_010
DKH_PER_UL = PEQ_PER_UL / (LITRES * 1e9) / MEQ
LOOK_BACK_DAYS = 70
LATE_H = 19
WIDE_DKH = 8.0
NET_RISE_DKH = 0.5
LOW_SHARE = 0.8
LATE_SHARE = 1.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """What befalls one tank; the same for every keeper.

    `rhythm` days between tests; `noise` of a test; `uptake` at target on each day.
    """

    seed: int
    rhythm: float
    noise: float
    uptake: tuple[float, ...]
    tested: tuple[bool, ...]
    missed: tuple[float, ...]
    errors: tuple[float, ...]
    upset: tuple[bool, ...]
    guess: float
    gone: range
    rest: float


@dataclass(slots=True, kw_only=True)
class Lived:
    """What came of it: alkalinity by hour, changes of plan by day, intervals."""

    life: Life
    levels: list[float] = field(default_factory=list)
    changes: list[int] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)
    over_cap: int = 0
    tests: int = 0


Adviser = Callable[["Home", int, float], None]


def life(seed: int, rhythm: float) -> Life:
    """One invented life: uptake, its changes, tests and missed doses."""
    chance = random.Random(seed)  # noqa: S311 -- invented lives, no secrets
    uptake = 0.2 * 20 ** chance.random()
    days, upset = [], [False] * DAYS
    jump = chance.randint(60, 120) if chance.random() < 0.33 else None
    harvest = chance.randint(60, 140) if chance.random() < 0.33 else None
    away = chance.randint(40, 130) if chance.random() < 0.25 else None
    jumps_by = chance.choice((0.65, 1.35))
    for day in range(DAYS):
        uptake *= 1 + chance.gauss(0, 0.004)
        if day == jump:
            uptake *= jumps_by
        if day == harvest:
            uptake *= 0.7
        days.append(uptake)
    for begin, length in ((jump, 21), (harvest, 21), (away, 35)):
        for day in range(begin or 0, min((begin or 0) + length, DAYS) if begin else 0):
            upset[day] = True
    gone = range(away, away + 21) if away else range(0)
    next_test, tested, errors = rhythm, [], []
    noise = chance.uniform(0.1, 0.3)
    for day in range(DAYS):
        due = day >= next_test
        tested.append(due and day not in gone)
        if due:
            next_test += rhythm
        gross = chance.choice((-1, 1)) * chance.uniform(1, 2)
        errors.append(gross if chance.random() < 0.04 else chance.gauss(0, noise))
    return Life(
        seed=seed,
        rhythm=rhythm,
        noise=noise,
        uptake=tuple(days),
        tested=tuple(tested),
        missed=tuple(chance.random() if chance.random() < 0.02 else 0.0 for _ in days),
        errors=tuple(errors),
        upset=tuple(upset),
        guess=days[0] * chance.uniform(0.85, 1.15),
        gone=gone,
        rest=chance.uniform(*REST_DKH),
    )


@dataclass(slots=True, kw_only=True)
class Home:
    """A tank with its keeper's plan and notes."""

    life: Life
    machine: Machine
    plan: Plan
    measurements: list[MeasurementKept] = field(default_factory=list)
    deliveries: list[Delivery] = field(default_factory=list)
    lived: Lived
    again: int = -1


def live(lived_life: Life, advise: Adviser) -> Lived:
    """Half a year with one keeper."""
    home = _home(lived_life)
    level = TARGET_DKH
    for day in range(DAYS):
        wanted_ul = sum(
            per_day_ul(line) for line in home.plan.lines if runs_on(line, _date(day))
        )
        given_ul = wanted_ul * (1 - lived_life.missed[day])
        uptake = lived_life.uptake[day]
        for hour in range(HOURS):
            again = day == home.again and day not in lived_life.gone
            due = lived_life.tested[day] or again
            if hour == LATE_H and due:
                home.lived.tests += 1
                advise(home, day, level + lived_life.errors[day])
            share = _left(level, lived_life)
            level += (given_ul * DKH_PER_UL - uptake * share) / HOURS
            home.lived.levels.append(level)
            amounts = {"alkalinity": round(given_ul * PEQ_PER_UL / HOURS)}
            home.deliveries.append(Delivery(at=_at(day, hour), amounts=amounts))
    return home.lived


def as_proposed(home: Home, day: int, test: float) -> None:
    """Do what `propose` says: change, retest, and paste the uptake that it names."""
    now = _at(day, LATE_H)
    home.measurements.append(_measured(test, now))
    since = now - timedelta(days=LOOK_BACK_DAYS)
    history = History(
        tank="reef",
        since=since,
        until=now,
        measurements=tuple(one for one in home.measurements if one.taken_at >= since),
        deliveries=tuple(one for one in home.deliveries[-LOOK_BACK_DAYS * HOURS :]),
    )
    assessment = assess(history, home.machine, "reef", now)
    home.again = day + 1 if _asks_again(assessment) else -1
    found = assessment.uptakes.get("alkalinity")
    if found is not None and found.enough:
        truth = home.life.uptake[day] * _share(home) * MEQ
        half = 1.645 * found.sd_per_day
        home.lived.covered.append(abs(found.per_day - truth) <= half)
    for one in uptakes_to_state(assessment, home.machine.tanks["reef"]):
        home.machine = _stated(home.machine, one.estimate, one.low)
    asked = Asked(
        machine=home.machine,
        tank="reef",
        plan=home.plan,
        evidence=evidence_of(assessment, home.machine.tanks["reef"]),
        today=now.date(),
    )
    fitted = propose_fitting(asked)
    home.lived.over_cap += bool(fitted.findings)
    if not fitted.proposal.is_none:
        home.plan = fitted.proposal.plan
        home.lived.changes.append(day)


def _asks_again(assessment: Assessment) -> bool:
    """Whether the newest test is doubted: a keeper who is told so tests again."""
    return any(
        one.remedy == "retest" and one.parameter == "alkalinity" and one.figures
        for one in assessment.advice
    )


def by_last_test(home: Home, day: int, test: float) -> None:
    """Make the last difference good until the next test, as many do by hand."""
    line = home.plan.lines[0]
    away_ul = (TARGET_DKH - test) / home.life.rhythm / DKH_PER_UL
    amount = max(round(line.per_day_ul + away_ul), 0)
    home.plan = replace(home.plan, lines=(replace(line, per_day_ul=amount),))
    home.lived.changes.append(day)


def never(home: Home, day: int, test: float) -> None:
    """Keep the dose that was right at the beginning."""


def _share(home: Home) -> float:
    """How much of the uptake at target is left, over the last day."""
    recent = home.lived.levels[-HOURS:]
    return _left(fmean(recent), home.life)


def _left(level: float, lived_life: Life) -> float:
    rest = lived_life.rest
    return max(level - rest, 0.0) / (TARGET_DKH - rest)


def _home(lived_life: Life) -> Home:
    per_day = round(lived_life.guess / DKH_PER_UL)
    line = PlanLine(
        id="carbonate",
        tank="reef",
        solution="carbonate",
        pump="carbonate",
        per_day_ul=per_day,
        count=24,
        windows=(Window(start_minute=0, end_minute=1440),),
    )
    return Home(
        life=lived_life,
        machine=_stated(
            _machine(), lived_life.guess * MEQ, _allowing(lived_life.guess) * MEQ
        ),
        plan=Plan(name="bench", starts=START.date(), lines=(line,)),
        lived=Lived(life=lived_life),
    )


def _allowing(dose: float) -> float:
    """A lower bound of the uptake with which `check` takes the first plan.

    A plan that it refuses never runs: whoever doses 3 dKH a day has stated that 2.65
    are used up at least. One dose more may begin late within 24 hours.
    """
    return max(LOW_SHARE * dose, LATE_SHARE * dose - NET_RISE_DKH)


def _machine() -> Machine:
    cap = EffectCap(gross=_pico(WIDE_DKH * MEQ), net_rise=_pico(NET_RISE_DKH * MEQ))
    tank = Tank(
        id="reef",
        name="Bench",
        net_ul=LITRES * 1_000_000,
        zone="UTC",
        targets={"alkalinity": TARGET_DKH * MEQ},
        caps={"alkalinity": cap},
    )
    pump = Pump(
        id="carbonate",
        tank="reef",
        node="shelf",
        channel="a",
        solution="carbonate",
        reservoir="carbonate",
        rate_nl_per_s=1_000_000,
        smallest_dose_ul=100,
        per_dose_ul=40_000,
        per_day_ul=600_000,
    )
    return Machine(
        site="bench",
        tanks={"reef": tank},
        solutions={
            "carbonate": Solution(
                id="carbonate", name="Soda", effects={"alkalinity": PEQ_PER_UL}
            )
        },
        reservoirs={"carbonate": Reservoir(id="carbonate", content_ul=10**7)},
        nodes={"shelf": Node(id="shelf", day_limit_ul=10**7, cut_limit_ms=60_000)},
        pumps={"carbonate": pump},
    )


def _stated(machine: Machine, estimate: float, low: float) -> Machine:
    tank = machine.tanks["reef"]
    uptake = Uptake(estimate=_pico(max(estimate, 0)), low=_pico(max(low, 0)))
    tank = replace(tank, uptake={"alkalinity": uptake})
    return replace(machine, tanks={"reef": tank})


def _pico(meq_per_l: float) -> int:
    return round(meq_per_l * LITRES * 1e9)


def _date(day: int) -> date:
    return START.date() + timedelta(days=day)


def _at(day: int, hour: int) -> datetime:
    return START + timedelta(days=day, hours=hour)


def _measured(test: float, now: datetime) -> MeasurementKept:
    return MeasurementKept(
        at=now,
        boot_s=0.0,
        proven_ms=0,
        id=f"m-{now:%m%d}",
        tank="reef",
        parameter="alkalinity",
        value=test * MEQ,
        typed=f"{test:.2f} dKH",
        taken_at=now,
        provenance="hand",
        method="drops",
        by="bench",
    )
