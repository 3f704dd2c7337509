"""Faults of the machine the daemon runs on: crashes, ledger, disk, clocks.

Floor 6. One subject: groups A, D, E and F of the hazards as scripts. Laws here: each
breaks one thing, and mends it where it mends by itself.
"""

from functools import partial

from slackwater.facts.reasons import Code
from slackwater.facts.tank import Machine
from slackwater.rehearsal.faults.case import Case, Strike, Target
from slackwater.rehearsal.faults.house import (
    HOUR_MS,
    MINUTE_MS,
    SECOND_MS,
    House,
)
from slackwater.rehearsal.faults.plans import end_approval, take_over

RESTART_MS = 10 * SECOND_MS
ARMED_MS = 5 * SECOND_MS
YEARS_BACK_MS = 20_000 * 24 * HOUR_MS
# More starts than this nobody waits for in a rehearsal.
MOST_STARTS = 12
LEFT_BYTES = 1_000
LEAST_HOLD_OFF_S = 5


def _dies(point: str, down_ms: int = RESTART_MS) -> Strike:
    """A strike that lets the daemon die at its next visit of a point."""
    return partial(_arm_at_due, point, down_ms)


def _arm_at_due(point: str, down_ms: int, house: House, target: Target) -> None:
    house.at(target.due_ms - ARMED_MS, lambda: _arm(house, point, down_ms))


def _arm(house: House, point: str, down_ms: int) -> None:
    house.trap = (point, down_ms)


def _outage(house: House, target: Target) -> None:
    middle_ms = target.middle_ms
    house.at(middle_ms, lambda: house.die(24 * HOUR_MS))


def _storm(house: House, target: Target) -> None:
    starts = house.machine.timing.starts_allowed + 1
    for number in range(starts):
        at_ms = target.before_ms + number * 3 * SECOND_MS
        house.at(at_ms, lambda: house.die(SECOND_MS))


def _no_storm(machine: Machine, _target: Target) -> str:
    allowed = machine.timing.starts_allowed
    if allowed <= MOST_STARTS:
        return ""
    return f"[timing] starts_allowed is {allowed}: no storm is ever noticed"


def _no_hold_off(machine: Machine, _target: Target) -> str:
    wait_s = machine.timing.start_hold_off_s
    if wait_s >= LEAST_HOLD_OFF_S:
        return ""
    return f"[timing] start_hold_off is {wait_s:g} s: over before anything can be asked"


def _refused_writes(house: House, target: Target) -> None:
    """Every write of an intent fails, the first three times it is tried."""
    for number in range(3):
        at_ms = target.due_ms - ARMED_MS + number * 15 * MINUTE_MS
        house.at(at_ms, lambda: _arm(house, "before:dose_intended", RESTART_MS))


def _disk_fills_at_due(house: House, target: Target) -> None:
    house.at(target.before_ms, lambda: disk_fills(house))


def disk_fills(house: House) -> None:
    """Leave hardly any room on the disk."""
    house.free_bytes = LEFT_BYTES


def _no_least(machine: Machine, _target: Target) -> str:
    if machine.timing.free_space_bytes > LEFT_BYTES:
        return ""
    return "[timing] asks for no free space"


def _step(span_ms: int) -> Strike:
    return partial(_step_clock, span_ms)


def _step_clock(span_ms: int, house: House, target: Target) -> None:
    house.at(target.before_ms, lambda: _shift(house, span_ms))


def _shift(house: House, span_ms: int) -> None:
    house.times.shift_ms += span_ms


def _reboots(house: House, target: Target) -> None:
    """The box loses power and wakes in 1970; an hour later somebody sets the clock."""
    at_ms = target.before_ms
    house.at(at_ms, lambda: _cold_start(house))
    house.at(at_ms + HOUR_MS, lambda: _set_right(house))


def _cold_start(house: House) -> None:
    house.die(RESTART_MS)
    times = house.times
    times.boots += 1
    times.booted_ms = times.t_ms
    times.shift_ms -= YEARS_BACK_MS
    times.synchronised = False


def _set_right(house: House) -> None:
    house.times.shift_ms += YEARS_BACK_MS
    house.times.synchronised = True
    house.look_closely(3 * MINUTE_MS)


def _stalls(house: House, target: Target) -> None:
    house.at(target.before_ms, lambda: _freeze(house, 3 * HOUR_MS))


def _freeze(house: House, span_ms: int) -> None:
    house.frozen_until_ms = house.times.t_ms + span_ms
    house.after(span_ms, lambda: house.look_closely(3 * MINUTE_MS))


def put_back(house: House, target: Target) -> None:
    """Somebody puts the clock back by an hour."""
    _step_clock(-HOUR_MS, house, target)


def _expires(house: House, target: Target) -> None:
    house.at(target.before_ms, lambda: end_approval(house))


def _swaps(house: House, target: Target) -> None:
    house.at(target.due_ms - MINUTE_MS, lambda: take_over(house))


def _nothing(_house: House, _target: Target) -> None:
    """Change nothing: the calendar alone is tried."""


UNPROVEN = frozenset({Code.CLOCK_UNPROVEN, Code.CLOCK_BEHIND})

BOX_CASES: tuple[Case, ...] = (
    Case(
        id="killed-before-writing",
        group="A",
        hazards=("H01",),
        title="The daemon is killed before its intent is written",
        strike=_dies("before:dose_intended"),
        begins_s=0.0,
    ),
    Case(
        id="killed-before-sending",
        group="A",
        hazards=("H02",),
        title="The daemon is killed between writing and sending",
        strike=_dies("after:dose_intended"),
        begins_s=0.0,
    ),
    Case(
        id="killed-after-sending",
        group="A",
        hazards=("H03",),
        title="The daemon is killed right after sending",
        strike=_dies("sent:dose_intended"),
        begins_s=0.0,
    ),
    Case(
        id="killed-before-result",
        group="A",
        hazards=("H04",),
        title="The daemon is killed before it has written down a result",
        strike=_dies("before:dose_ended"),
        begins_s=0.0,
    ),
    Case(
        id="outage-of-a-day",
        group="A",
        hazards=("H06", "H59"),
        title="The daemon dies in the middle of a run and stays away for a day",
        strike=_outage,
        begins_s=0.0,
    ),
    Case(
        id="restart-storm",
        group="A",
        hazards=("H07",),
        title="The daemon dies again and again, right after each start",
        strike=_storm,
        expects=frozenset({Code.START_STORM}),
        about=("daemon", "starts too often"),
        unfit=_no_storm,
    ),
    Case(
        id="restart",
        group="A",
        hazards=("H07",),
        title="The daemon is restarted just before a dose",
        strike=lambda house, target: house.at(
            target.before_ms, lambda: house.die(2 * SECOND_MS)
        ),
        expects=frozenset({Code.START_HOLD_OFF}),
        about=("daemon", "has just started"),
        unfit=_no_hold_off,
    ),
    Case(
        id="ledger-refused",
        group="D",
        hazards=("H05", "H30"),
        title="The ledger refuses the intent, three times",
        strike=_refused_writes,
        begins_s=0.0,
    ),
    Case(
        id="disk-full",
        group="D",
        hazards=("H30",),
        title="The disk is nearly full",
        strike=_disk_fills_at_due,
        expects=frozenset({Code.LEDGER_FULL}),
        about=("disk", "full"),
        unfit=_no_least,
    ),
    Case(
        id="clock-forward",
        group="E",
        hazards=("H37",),
        title="The clock jumps an hour ahead",
        strike=_step(HOUR_MS),
        expects=frozenset({Code.CLOCK_JUMPED}),
        about=("clock", "step"),
    ),
    Case(
        id="clock-back",
        group="E",
        hazards=("H38",),
        title="The clock is put back by an hour",
        strike=put_back,
        expects=frozenset({Code.CLOCK_JUMPED, Code.CLOCK_BEHIND}),
        about=("clock", "step back"),
    ),
    Case(
        id="box-without-time",
        group="E",
        hazards=("H39",),
        title="The box loses power and wakes up in 1970, for an hour",
        strike=_reboots,
        expects=UNPROVEN,
        about=("clock", "missing"),
    ),
    Case(
        id="stall",
        group="E",
        hazards=("H40",),
        title="The box stands still for three hours",
        strike=_stalls,
    ),
    Case(
        id="approval-expired",
        group="F",
        hazards=("H55",),
        title="The approval expires",
        strike=_expires,
        expects=frozenset({Code.APPROVAL_EXPIRED}),
        about=("approval", "missing"),
    ),
    Case(
        id="plan-swap",
        group="F",
        hazards=("H09",),
        title="A plan takes over at once, a minute before a dose",
        strike=_swaps,
        begins_s=-60.0,
    ),
)

CLOCK_CASES: tuple[Case, ...] = (
    Case(
        id="clock-change-forward",
        group="E",
        hazards=("H36",),
        title="The clocks go forward for summer",
        strike=_nothing,
        begins_s=-6 * 3600.0,
        day="forward",
    ),
    Case(
        id="clock-change-back",
        group="E",
        hazards=("H36",),
        title="The clocks go back for winter",
        strike=_nothing,
        begins_s=-6 * 3600.0,
        day="back",
    ),
)
