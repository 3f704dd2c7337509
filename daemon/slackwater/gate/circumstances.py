"""What people wrote down, and top-off water, as far as they hold doses.

Floor 3. One subject: tests, treatments and limewater. Laws here: a hand test may stop
as a probe may; evidence of too much lasts no longer than the tank needs to take it up;
nothing here adds anything.
Source: common practice, no source, but for the time a tank needs, which is a mass
balance of one box.
"""

from collections.abc import Collection, Iterator, Sequence
from datetime import timedelta
from statistics import median

from slackwater.facts.entered import LevelEntered
from slackwater.facts.events import HoldRaised
from slackwater.facts.limits import limits_of
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.state import Entered
from slackwater.facts.waters import ONE_WATER, MeasurementKept
from slackwater.gate.kinds import ALKALINITY, CARBON
from slackwater.gate.moment import LineRule, Moment, PumpRule
from slackwater.gate.probes import ROUNDING, contradicted, known
from slackwater.gate.scopes import covers
from slackwater.gate.switches import switches_of
from slackwater.gate.watch import Seen

PEQ_PER_MEQ = 10**9
UL_PER_L = 10**6
DAY = timedelta(days=1)
# A test above the ceiling counts so long at least, at most, and where nobody knows
# what the tank takes up.
TEST_COUNTS = (timedelta(hours=1), timedelta(days=3), timedelta(days=1))
# Fewer whole days than this have no usual volume.
USUAL_DAYS = 7


def treatment_refuses(
    moment: Moment, pump: PumpRule, line: LineRule
) -> Iterator[Reason]:
    """Corrections, carbon and traces wait for the end of a treatment."""
    tank = pump.pump.tank
    until = moment.state.treatments.get(tank)
    if until is None or moment.now.utc >= until:
        return
    if covers(f"treated/{tank}", pump, line):
        yield because(Code.TREATMENT, until=until.isoformat())


def nutrients_refuse(
    moment: Moment, pump: PumpRule, _line: LineRule
) -> Iterator[Reason]:
    """Carbon waits when the newest tests found too little nitrate or phosphate."""
    if CARBON not in pump.kinds:
        return
    tank = pump.pump.tank
    limits = limits_of(moment.machine.limits, tank)
    for parameter, least in (
        ("nitrate", limits.nitrate_least),
        ("phosphate", limits.phosphate_least),
    ):
        test = moment.state.levels.get(f"{tank}/{parameter}")
        if test is not None and (test.censored or test.value < least):
            found = 0.0 if test.censored else round(test.value, 3)
            yield because(
                Code.NUTRIENTS_LOW, parameter=parameter, tested=found, least=least
            )


def alkalinity_refuses(
    moment: Moment, pump: PumpRule, line: LineRule
) -> Iterator[Reason]:
    """A test above the ceiling stops until a later visit, or until it was taken up.

    A lower one within half an hour may be the slip of the two and ends nothing: the
    highest decides. A sound probe that agreed with the newest test beside it, or was
    read since and that no test contradicts, speaks for the water instead.
    """
    tank = pump.pump.tank
    guard = moment.machine.guards.get(tank)
    if guard is None or not line.follows_alkalinity:
        return
    if moment.state.entered:
        yield from entered_refuses(moment, tank)
    visit = _newest_visit(moment, tank)
    high = [
        test
        for test in visit
        if test.value > guard.ceiling
        and _counts(moment, test)
        and not _is_spoken_for(moment, test, visit)
    ]
    if high:
        yield because(
            Code.ALKALINITY_TEST,
            tested_meq_per_l=round(max(test.value for test in high), 3),
            ceiling_meq_per_l=round(guard.ceiling, 3),
        )


def _newest_visit(moment: Moment, tank: str) -> list[MeasurementKept]:
    """The newest test of alkalinity and own ones of the half hour before; no limits."""
    tests = moment.state.tests.get(tank, [])
    newest = moment.state.levels.get(f"{tank}/{ALKALINITY}")
    if newest is None:
        return []
    visit = [
        test
        for test in tests
        if test.id != newest.id
        and timedelta() <= newest.taken_at - test.taken_at <= ONE_WATER
    ]
    return visit if newest.censored else [*visit, newest]


def _is_spoken_for(
    moment: Moment, test: MeasurementKept, visit: Sequence[MeasurementKept]
) -> bool:
    """Whether a sound reading says more of the water than a test does.

    One from before the test, which stood beside neither it nor a later one of the
    visit, agrees with nothing.
    """
    beside = {one.id for one in visit if one.taken_at >= test.taken_at}
    return any(
        _may_speak(moment, reading, test, beside)
        for reading in known(moment, test.tank, ALKALINITY).fresh
    )


def _may_speak(
    moment: Moment, reading: Reading, test: MeasurementKept, beside: Collection[str]
) -> bool:
    if contradicted(moment, reading.probe) is not None:
        return False
    compared = moment.state.compared.get(reading.probe)
    is_beside = compared is not None and compared.measurement in beside
    return is_beside or reading.at > test.taken_at


def entered_refuses(moment: Moment, tank: str) -> Iterator[Reason]:
    """An unconfirmed test above the ceiling stops; below it, it says nothing at all.

    A person's own later test speaks instead, and a sound probe that it did not
    contradict; another one from afar never does.
    """
    guard = moment.machine.guards[tank]
    own = moment.state.levels.get(f"{tank}/{ALKALINITY}")
    for name, entered in sorted(moment.state.entered.items()):
        told = entered.told
        if (told.tank, told.parameter) != (tank, ALKALINITY):
            continue
        if told.value <= guard.ceiling or not _counts(moment, told):
            continue
        if _speaks_instead(own, told):
            continue
        if not _is_outspoken(moment, entered):
            yield because(
                Code.ALKALINITY_ENTERED,
                entry=name,
                entered_meq_per_l=round(told.value, 3),
                ceiling_meq_per_l=round(guard.ceiling, 3),
            )


def _speaks_instead(own: MeasurementKept | None, told: LevelEntered) -> bool:
    """Whether a person's own test is not older: another from afar never speaks."""
    return (
        own is not None and own.provenance == "hand" and own.taken_at >= told.taken_at
    )


def _is_outspoken(moment: Moment, entered: Entered) -> bool:
    """Whether a sound probe is read that showed nearly the same beside the entry."""
    told = entered.told
    tolerance = limits_of(moment.machine.limits, told.tank).against_test(ALKALINITY)
    return any(
        contradicted(moment, reading.probe) is None
        and (tolerance is None or _is_near(entered, reading, tolerance + ROUNDING))
        for reading in known(moment, told.tank, ALKALINITY).fresh
    )


def _is_near(entered: Entered, reading: Reading, tolerance: float) -> bool:
    """Whether a probe showed nearly the same beside the entry, or was read since."""
    shown = entered.shown.get(reading.probe)
    if shown is None:
        return reading.at > entered.told.taken_at
    return abs(entered.told.value - shown) <= tolerance


def counts_for(moment: Moment, test: MeasurementKept | LevelEntered) -> timedelta:
    """How long a test above the ceiling stops, from the moment it was taken."""
    shortest, longest, unknown = TEST_COUNTS
    tank = moment.machine.tanks[test.tank]
    guard = moment.machine.guards[test.tank]
    uptake = tank.uptake.get(ALKALINITY)
    if uptake is None or uptake.low <= 0:
        return unknown
    per_day = uptake.low / PEQ_PER_MEQ / (tank.net_ul / UL_PER_L)
    above = test.value - guard.ceiling + guard.hysteresis
    # Bounded before it is a time: no time is as long as next to no uptake would need.
    return DAY * min(max(above / per_day, shortest / DAY), longest / DAY)


def _counts(moment: Moment, test: MeasurementKept | LevelEntered) -> bool:
    age = moment.now.utc - test.taken_at
    return timedelta() <= age <= counts_for(moment, test)


def top_off_looks(moment: Moment, tank: str) -> Iterator[Seen]:
    """Much more limewater than usual came today: carbonate and hydroxide wait."""
    if not moment.rules.outside.get(tank):
        return
    for switch in switches_of(moment, tank, "top-off"):
        limit_ul, today_ul = _top_off(moment, tank, switch.id)
        if limit_ul is not None and today_ul > limit_ul:
            reason = because(
                Code.TOP_OFF_HIGH,
                switch=switch.id,
                today_ul=today_ul,
                limit_ul=limit_ul,
            )
            yield Seen(
                hold_id=f"top-off/{switch.id}", scope=f"raising/{tank}", reason=reason
            )


def top_off_clears(moment: Moment, tank: str, hold: HoldRaised) -> bool:
    """A day after it began, when no more than usual came on that day."""
    if moment.now.utc - hold.at < DAY:
        return False
    _, _, name = hold.hold_id.partition("/")
    if name not in moment.machine.switches:
        return True
    limit_ul, today_ul = _top_off(moment, tank, name)
    return limit_ul is None or today_ul <= limit_ul


def _top_off(moment: Moment, tank: str, switch: str) -> tuple[int | None, int]:
    """What may come in a day, None while nothing is usual yet; what came today."""
    counter = moment.sight.counters.get(switch)
    today = moment.now.utc.date()
    days = moment.state.top_offs.get(switch, {})
    usual = [volume_ul for day, volume_ul in days.items() if day < today]
    today_ul = 0 if counter is None else counter.days.get(today, 0)
    if len(usual) < USUAL_DAYS:
        return None, today_ul
    factor = limits_of(moment.machine.limits, tank).top_off_factor
    return int(median(usual) * factor), today_ul
