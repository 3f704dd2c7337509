"""What the caps still leave, and what of the plan no longer fits.

Floor 8. One subject: room under the daily caps of a tank. Laws here: the same sums that
the gate looks at; nothing is promised, the gate decides each dose anew.
Units: amounts whole pico-units of the whole tank.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from slackwater.cli.opening import Approved, approval_at, newest_approval
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.state import State
from slackwater.facts.tank import EffectCap, Machine, Tank
from slackwater.gate.caps import unanswered_left_ms
from slackwater.gate.handover import old_part
from slackwater.planning.timetable import Timetable
from slackwater.planning.wall import zone_named

DAY = timedelta(days=1)
NO_CAP = EffectCap(gross=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """When one looks: wall time and proven time."""

    utc: datetime
    proven_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """One parameter of a tank: what counts now, and the caps on it.

    `net` is what the net rise and the proven uptake allow in a day, None where no net
    rise is capped; `outside` comes in beside what counts.
    """

    parameter: str
    charged: int
    gross: int
    net: int | None = None
    outside: int = 0

    @property
    def is_net(self) -> bool:
        """Whether the net rise is the tighter of the two."""
        return self.net is not None and self.net < self.gross

    @property
    def most(self) -> int:
        """What the tighter cap allows in a day; below 0 where others bring more."""
        tighter = self.net if self.net is not None and self.is_net else self.gross
        return tighter - self.outside

    @property
    def left(self) -> int:
        """What the tighter cap still leaves, below 0 where it is passed."""
        return self.most - self.charged


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldBack:
    """A pump whose doses of the next 24 hours do not all fit any more."""

    pump: str
    parameter: str
    fits_ul: int
    planned_ul: int


def rooms(
    state: State, machine: Machine, tank: Tank, names: Iterable[str], moment: Moment
) -> list[Room]:
    """What the caps on these parameters still leave in a tank."""
    today = moment.utc.astimezone(zone_named(tank.zone)).date()
    return [
        _room(state, machine, (tank, name), moment, today) for name in sorted(names)
    ]


def _room(
    state: State,
    machine: Machine,
    about: tuple[Tank, str],
    moment: Moment,
    today: date,
) -> Room:
    tank, name = about
    cap = tank.caps.get(name, NO_CAP)
    key = f"effect/{tank.id}/{name}"
    rolling = state.charges.get(key)
    in_a_day = 0 if rolling is None else rolling.since(moment.proven_ms - DAY_MS)
    on_the_day = state.days.get(key, {}).get(today, 0)
    unknown = cap.gross if unanswered_left_ms(state, moment.proven_ms) else 0
    charged = max(in_a_day, on_the_day) + unknown
    uptake = tank.uptake.get(name)
    low = uptake.low if uptake else 0
    return Room(
        parameter=name,
        charged=charged,
        gross=cap.gross,
        net=None if cap.net_rise is None else cap.net_rise + low,
        outside=_outside(state, machine, (tank, name), moment),
    )


def _outside(
    state: State, machine: Machine, about: tuple[Tank, str], moment: Moment
) -> int:
    """What others bring in a day; of a line that was taken over what is not a day old.

    Before a plan is approved nothing takes the place of an old doser.
    """
    tank, name = about
    approved = newest_approval(state)
    names = approved.plan.names if approved else frozenset()
    old = [
        (one.replaced_by, one.per_day)
        for one in machine.outside
        if (one.tank, one.parameter) == (tank.id, name) and one.replaced_by in names
    ]
    others: int = machine.outside_per_day(tank.id, name, names)
    return others + old_part(state, moment.proven_ms, old)


def held_back(
    state: State, tank: str, left: Iterable[Room], moment: Moment
) -> Iterator[HeldBack]:
    """The pumps that will not give all they should in the next 24 hours."""
    planned, machine = planned_ul_of(state, tank, moment.utc)
    if machine is None:
        return
    for room in left:
        for pump_id, planned_ul in sorted(planned.items()):
            pump = machine.pumps[pump_id]
            per_ul = machine.solutions[pump.solution].effects.get(room.parameter, 0)
            fits_ul = max(room.left, 0) // per_ul if per_ul else planned_ul
            if fits_ul < planned_ul:
                yield HeldBack(
                    pump=pump_id,
                    parameter=room.parameter,
                    fits_ul=fits_ul,
                    planned_ul=planned_ul,
                )


def planned_ul_of(
    state: State, tank: str, utc: datetime
) -> tuple[Mapping[str, int], Machine | None]:
    """What each pump of a tank should give in 24 hours, and the machine of the plan.

    A plan that takes over within them counts from then on; None when none is in force.
    """
    now, then = approval_at(state, utc), approval_at(state, utc + DAY)
    newest = then or now
    if newest is None:
        return {}, None
    planned: dict[str, int] = {}
    swap = newest.approval.takes_over_at
    if now is not None and swap > utc:
        _add_doses(planned, now, tank, (utc, swap))
    _add_doses(planned, newest, tank, (max(utc, swap), utc + DAY))
    pumps = newest.machine.pumps
    return {name: ul for name, ul in planned.items() if name in pumps}, newest.machine


def _add_doses(
    planned: dict[str, int],
    approved: Approved,
    tank: str,
    between: tuple[datetime, datetime],
) -> None:
    for dose in Timetable(approved.plan, approved.machine).between(*between):
        if dose.tank == tank:
            planned[dose.pump] = planned.get(dose.pump, 0) + dose.volume_ul
