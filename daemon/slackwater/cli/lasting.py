"""How long bottles and tubes last: what is left, the pace, how sure both are.

Floor 8. One subject: one figure for status, check, rehearsal and whatever else shows
it. Laws here: what the books and the pumps' rates may be off widens the interval; a
bottle of which nothing is drawn has no end.
Units: microlitres and days.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from slackwater.facts.inventory import COVERAGE, Stock, rate_sd, stock
from slackwater.facts.plan import Plan
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.facts.wear import tube_run_s
from slackwater.ledger.codec import timestamp
from slackwater.planning.draws import lasts_days
from slackwater.pump.command import rate_in_force

S_PER_HOUR = 3600
NL_PER_UL = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Bottle:
    """A reservoir with what is left in it, and for how long the plan can draw.

    `days` is None where the plan draws nothing, or stops before it is gone; `days_low`
    and `days_high` hold what the books and the pumps' rates may be off, None where
    nothing can be said.
    """

    id: str
    left_ul: int
    days: float | None
    days_low: float | None = None
    days_high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What a reservoir holds, and the share that its pumps' rates may be off."""

    stock: Stock
    off: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tube:
    """How long the tube of a pump ran since it was new, beside how long it lasts.

    `left_ul` is what it still moves in that time at the rate in force.
    """

    pump: str
    ran_s: float
    life_s: float
    left_ul: int


def tubes(machine: Machine, state: State) -> tuple[Tube, ...]:
    """The tube of each pump, by the pump's name."""
    return tuple(
        Tube(
            pump=name,
            ran_s=(ran_s := tube_run_s(state, name)),
            life_s=pump.tube_life_s,
            left_ul=int(
                max(pump.tube_life_s - ran_s, 0.0)
                * rate_in_force(state, pump)[0]
                / NL_PER_UL
            ),
        )
        for name, pump in sorted(machine.pumps.items())
    )


def tube_days(plan: Plan, tube: Tube, first: date) -> float | None:
    """How many days from one on a plan can use a tube; None where it uses none."""
    return lasts_days(plan, {tube.pump}, tube.left_ul, first)


def tube_hours(tube: Tube) -> str:
    """What is behind of a tube's life, for people."""
    return f"{tube.ran_s / S_PER_HOUR:.1f} of {tube.life_s / S_PER_HOUR:.0f} h"


def held(machine: Machine, state: State) -> Mapping[str, Held]:
    """Every reservoir that a pump draws from, by name."""
    used = {pump.reservoir for pump in machine.pumps.values()}
    return {
        name: Held(
            stock=stock(machine, state, name),
            off=COVERAGE
            * max(rate_sd(state, pump) for pump in _sharing(machine, name)),
        )
        for name in sorted(used)
    }


def lasting(
    machine: Machine, plan: Plan, name: str, known: Held, first: date
) -> Bottle:
    """How long one reservoir lasts from a day on."""
    sharing, left = _sharing(machine, name), known.stock

    def days(ul: float) -> float | None:
        return lasts_days(plan, sharing, int(ul), first)

    # A pump that gives more than it is asked for empties its bottle sooner.
    return Bottle(
        id=name,
        left_ul=left.left_ul,
        days=days(left.left_ul),
        days_low=days(left.low_ul / (1 + known.off)),
        days_high=days(left.high_ul / (1 - known.off)) if known.off < 1 else None,
    )


def lasting_words(one: Bottle) -> str:
    """The same for people; the interval holds 95 percent."""
    if one.days is None or one.days_low is None:
        return "nothing is drawn"
    high = "more" if one.days_high is None else f"{one.days_high:.0f}"
    return f"{one.days:.0f} days ({one.days_low:.0f} to {high})"


def tube_documents(machine: Machine, state: State) -> list[dict[str, object]]:
    """Hours that the tube of each pump ran, beside those it lasts."""
    return [
        {
            "pump": name,
            "ran_h": round(tube_run_s(state, name) / S_PER_HOUR, 2),
            "life_h": round(pump.tube_life_s / S_PER_HOUR, 2),
            "swapped_at": timestamp(state.tubes[name]) if name in state.tubes else None,
        }
        for name, pump in sorted(machine.pumps.items())
    ]


def _sharing(machine: Machine, name: str) -> set[str]:
    return {pump.id for pump in machine.pumps.values() if pump.reservoir == name}
