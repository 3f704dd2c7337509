"""How long bottles and tubes last: what is left, the pace, how sure both are.

Floor 8. One subject: one figure for status, check and whatever else shows it. Laws
here: what the books and the pumps' rates may be off widens the interval; a bottle of
which nothing is drawn has no end.
Units: microlitres and days.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from slackwater.facts.inventory import COVERAGE, Stock, rate_sd, stock
from slackwater.facts.plan import Plan, PlanLine
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.facts.wear import tube_run_s
from slackwater.gate.moment import DAYS_OF_WEEK
from slackwater.ledger.codec import timestamp

S_PER_HOUR = 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class Bottle:
    """A reservoir with what is left in it, and for how long the plan can draw.

    `days_low` and `days_high` hold what the books and the pumps' rates may be off;
    `days_high` is None where nothing can be said.
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


def lasting(machine: Machine, plan: Plan, name: str, known: Held) -> Bottle:
    """How long one reservoir lasts from now on."""
    sharing, left = _sharing(machine, name), known.stock
    per_day_ul = sum(_mean_ul(line) for line in plan.lines if line.pump in sharing)
    if not per_day_ul:
        return Bottle(id=name, left_ul=left.left_ul, days=None)
    return Bottle(
        id=name,
        left_ul=left.left_ul,
        days=left.left_ul / per_day_ul,
        days_low=left.low_ul / per_day_ul / (1 + known.off),
        days_high=left.high_ul / per_day_ul / (1 - known.off)
        if known.off < 1
        else None,
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


def _mean_ul(line: PlanLine) -> float:
    if line.weekdays:
        return line.per_day_ul * len(line.weekdays) / DAYS_OF_WEEK
    return line.per_day_ul / line.every_days
