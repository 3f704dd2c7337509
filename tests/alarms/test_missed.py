"""What was missed is told unless something else accounts for just that."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.alarms import AlarmChanged, AlarmRaised, Cause
from slackwater.facts.events import ResumeBegan
from slackwater.facts.plan import Plan
from slackwater.facts.rolling import Rolling
from slackwater.facts.tank import Machine
from slackwater.facts.waters import MeasurementKept
from slackwater.gate.moment import rules_for
from tests.alarms.desk import TARGET, Desk, names, raised
from tests.alarms.test_judging import apart
from tests.gate.scene import dkh, dkh_peq, machine, probed

HOUR_S = 3600.0
MISSED = "missed-doses.reef"
# What the plan wants in a day, and calcium beside it; round figures.
WANTED = {"alkalinity": dkh_peq(1.2), "calcium": 24_000_000}


def desk_of(
    the_machine: Machine, the_plan: Plan | None = None, reads: float | None = None
) -> Desk:
    """A desk whose tank has what the plan wants, hour by hour, as a test says."""
    desk = Desk(the_machine, reads=reads)
    if the_plan is not None:
        rules = rules_for(desk.moment.machine, the_plan)
        desk.moment = replace(desk.moment, rules=rules)
    return desk


def live(desk: Desk, hours: int, **given: float) -> list[str]:
    """So many hours of doses that are due, of which these shares come."""
    begun = len(desk.events)
    for _ in range(hours):
        desk.look_on(HOUR_S, every_s=300)
        for parameter, amount in WANTED.items():
            book(desk, parameter, amount // 24, given.get(parameter, 1.0))
    return names(desk.events[begun:])


def book(desk: Desk, parameter: str, amount: int, share: float) -> None:
    """A dose was due, and a share of it is believed to have come."""
    state, at_ms = desk.moment.state, desk.moment.proven_ms
    key = f"reef/{parameter}"
    state.planned.setdefault(key, Rolling()).add(at_ms, amount, "")
    state.believed.setdefault(key, Rolling()).add(at_ms, int(amount * share), "")
    hours = state.hours.setdefault("reef", {})
    if parameter == "alkalinity":
        hour = int(desk.moment.now.utc.timestamp()) // 3600
        hours[hour] = hours.get(hour, 0) + int(amount * share)


def resume(desk: Desk) -> None:
    """The tank comes back slowly from now on."""
    begun = ResumeBegan(**desk.stamp, tank="reef", planned=1, believed=0)
    desk.fold(begun)


def test_a_tank_that_gets_nothing_on_the_way_back_is_told() -> None:
    """Each command is lost: that the plan comes back by itself is not so.

    It stands for as long as nothing comes.
    """
    desk = desk_of(machine())
    live(desk, 26)
    told = live(desk, 12, alkalinity=0.0)
    assert {MISSED} == set(told)
    resume(desk)
    assert {MISSED, "resuming.reef"} == set(live(desk, 36, alkalinity=0.0))
    assert desk.moment.state.alarms[MISSED].is_standing


def test_what_the_way_back_lets_through_is_not_missed() -> None:
    """Four days without a daemon, and then the share that is allowed."""
    desk = desk_of(machine())
    stage = desk.moment.now.utc
    desk.moment.state.stage_since = stage
    live(desk, 2)
    live(desk, 1)
    for _ in range(48):
        for parameter, amount in WANTED.items():
            book(desk, parameter, amount // 24, 0.0)
    resume(desk)
    assert ["resuming.reef"] == live(desk, 30, alkalinity=0.9)


def test_a_pump_of_something_else_explains_no_missed_alkalinity() -> None:
    """The calcium pump is held; that no alkalinity came is not its story."""
    desk = desk_of(machine(), apart())
    live(desk, 26)
    desk.hold("pump/calcium")
    told = live(desk, 12, alkalinity=0.0, calcium=0.0)
    assert MISSED in told
    missed, *_ = [one for one in raised(desk.events) if one.alarm == MISSED]
    assert "alkalinity" == missed.figures["parameter"]


def test_a_pump_that_is_held_explains_what_it_does_not_give() -> None:
    """Nor is it told for a day after the hold has ended."""
    desk = desk_of(machine(), apart())
    live(desk, 26)
    desk.hold("pump/calcium")
    told = live(desk, 12, calcium=0.0)
    desk.release()
    told += live(desk, 24)
    assert MISSED not in told


def test_a_pump_of_something_else_hides_no_fall() -> None:
    """It adds no alkalinity, so it brings none down, while it is held and after."""
    for ends in (False, True):
        desk = desk_of(probed(), apart(), reads=TARGET)
        desk.hold("pump/calcium")
        desk.look_on(HOUR_S, every_s=60)
        if ends:
            desk.release()
            desk.look_on(600, every_s=60)
        desk.reads = TARGET - 1.0
        desk.look_on(2 * HOUR_S, every_s=60)
        assert "alkalinity-fall.reef" in names(desk.events)


def test_a_probe_that_is_not_heard_explains_a_fifth_and_no_more() -> None:
    """The base comes, then nothing at all: that is no longer the probe's story."""
    desk = desk_of(probed(), reads=TARGET)
    live(desk, 26)
    desk.reads = None
    assert MISSED not in live(desk, 26, alkalinity=0.8, calcium=0.8)
    assert MISSED in live(desk, 12, alkalinity=0.0, calcium=0.0)


def two_of_carbonate() -> Desk:
    """A desk where the pump of calcium gives carbonate as well."""
    base = machine()
    both = {
        name: replace(pump, solution="carbonate") for name, pump in base.pumps.items()
    }
    lines = [replace(line, solution="carbonate") for line in apart().lines]
    return desk_of(replace(base, pumps=both), replace(apart(), lines=tuple(lines)))


def test_two_held_pumps_explain_together_what_both_do_not_give() -> None:
    """Each of them gives half of the alkalinity."""
    desk = two_of_carbonate()
    desk.hold("pump/carbonate")
    live(desk, 26, alkalinity=0.5)
    desk.hold("pump/calcium")
    live(desk, 26, alkalinity=0.0)
    assert MISSED not in names(desk.events)


def test_one_of_two_held_pumps_explains_its_half() -> None:
    """The other one should go on, and does not."""
    desk = two_of_carbonate()
    desk.hold("pump/carbonate")
    assert MISSED not in live(desk, 26, alkalinity=0.5)
    assert MISSED in live(desk, 24, alkalinity=0.0)


def test_a_link_that_was_down_explains_what_fell_due_until_then() -> None:
    """It was down for ten hours; what is missed from then on is told."""
    desk = desk_of(machine())
    live(desk, 26)
    desk.moment.sight.actuate_up = False
    live(desk, 10, alkalinity=0.0)
    desk.moment.sight.actuate_up = True
    assert ["link-down.all returned"] == live(desk, 4)
    assert {MISSED} == set(live(desk, 12, alkalinity=0.0))


def low_water(desk: Desk, hours_ago: int) -> None:
    """A test by hand below the floor, which is told."""
    low = MeasurementKept(
        **desk.stamp,
        id="m-1",
        tank="reef",
        parameter="alkalinity",
        value=dkh(6.0),
        typed="6.0 dKH",
        taken_at=desk.moment.now.utc - timedelta(hours=hours_ago),
        provenance="hand",
        by="keeper",
    )
    desk.fold(low)
    assert "alkalinity-low.reef" in live(desk, 1)


def test_low_water_explains_no_dose_that_was_missed() -> None:
    """Alkalinity is low, and then nothing comes: both are told."""
    desk = desk_of(machine())
    live(desk, 26)
    low_water(desk, 0)
    assert MISSED in live(desk, 26, alkalinity=0.0)


def test_low_water_of_before_a_gap_explains_nothing_of_it() -> None:
    """The test is two days old by then, so its alarm ends; it took only its share."""
    desk = desk_of(machine())
    live(desk, 26)
    low_water(desk, 46)
    desk.look_on(3 * HOUR_S, every_s=3 * HOUR_S)
    for _ in range(26):
        book(desk, "alkalinity", WANTED["alkalinity"] // 24, 0.0)
    begun = len(desk.events)
    desk.look_on(HOUR_S, every_s=60)
    assert {"alkalinity-low.reef returned", MISSED} == set(names(desk.events[begun:]))


def test_an_alarm_remembers_what_it_stopped() -> None:
    """Which lines do not dose because of it, and what part of the others comes."""
    desk = desk_of(machine(), apart())
    desk.hold("pump/calcium")
    desk.look_on(60)
    (told,) = raised(desk.events)
    assert (("reef/calcium",), 1.0) == (told.stops, told.share)


def test_before_they_said_so_alarms_explain_nothing() -> None:
    """One of an older version stands without lines: what is missed is told."""
    desk = desk_of(machine(), apart())
    live(desk, 26)
    known = AlarmRaised(
        **desk.stamp,
        alarm="held.leak",
        cause=Cause.HELD,
        about="leak",
        priority="soon",
        tanks=("reef",),
    )
    desk.fold(known)
    assert MISSED in live(desk, 12, alkalinity=0.0)


def test_missed_alkalinity_says_how_long_there_is() -> None:
    """By what came in the last day: the less, the sooner the floor comes.

    Whoever acknowledged it hears of it again on the way, until nobody may sleep.
    """
    desk = desk_of(machine())
    live(desk, 26)
    live(desk, 8, alkalinity=0.0)
    (told,) = [one for one in raised(desk.events) if one.alarm == MISSED]
    assert told.hours_left is not None
    assert 24.0 < told.hours_left < 72.0
    desk.fold(AlarmChanged(**desk.stamp, alarm=MISSED, to="acknowledged", by="keeper"))
    again = live(desk, 20, alkalinity=0.0)
    assert MISSED in again
    assert "urgent" == desk.moment.state.alarms[MISSED].raised.priority


@pytest.mark.parametrize("strikes", ["link", "probe"])
def test_what_took_alkalinity_hides_a_fall_for_a_day_after_it(strikes: str) -> None:
    """All doses, or the part above the base: the water comes down because of it."""
    desk = desk_of(probed(), reads=TARGET)
    desk.look_on(HOUR_S, every_s=60)
    if strikes == "link":
        desk.moment.sight.actuate_up = False
    else:
        desk.reads = None
    desk.look_on(HOUR_S, every_s=60)
    desk.moment.sight.actuate_up, desk.reads = True, TARGET
    desk.look_on(1800, every_s=60)
    desk.reads = TARGET - 1.0
    told = names(desk.look_on(3 * HOUR_S, every_s=60))
    assert "alkalinity-fall.reef" not in told
    assert "alkalinity-low.reef" not in told


def test_what_ended_at_another_tank_explains_nothing_here() -> None:
    """Each tank has its own books."""
    desk = desk_of(machine())
    live(desk, 26)
    elsewhere = AlarmRaised(
        **desk.stamp,
        alarm="node-absent.attic",
        cause=Cause.NODE_ABSENT,
        about="attic",
        priority="soon",
        tanks=("bay",),
        stops=("bay/carbonate", "reef/carbonate"),
    )
    desk.fold(elsewhere)
    over = AlarmChanged(**desk.stamp, alarm="node-absent.attic", to="returned")
    desk.fold(over)
    assert MISSED in live(desk, 12, alkalinity=0.0)
