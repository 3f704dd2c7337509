"""How doses are charged, believed and closed in the state.

Floor 2. One subject: the accounts. Laws here: charged in full from the intent on;
only a void gives back; a report may raise a charge, never lower it; believed follows
the report.
"""

from collections.abc import Mapping
from datetime import date, datetime
from itertools import takewhile

from slackwater.facts.events import (
    ChargeRaised,
    DoseEnded,
    DoseIntended,
    DoseSealed,
    DoseVoided,
    LedgerMade,
    LedgerRestored,
)
from slackwater.facts.exchanging import (
    fold_exchange_closed,
    fold_exchange_intended,
    fold_exchange_raised,
    fold_exchange_voided,
)
from slackwater.facts.making import maker
from slackwater.facts.now import Event
from slackwater.facts.rolling import DAY_MS, Rolling
from slackwater.facts.state import ClosedDose, Commanded, Flow, OpenDose, State
from slackwater.facts.strengths import note_strength
from slackwater.facts.wear import wear

# Late reports come within hours; two days leave room for a node's long silence.
CLOSED_KEPT_MS = 2 * DAY_MS
CLOSED_AT_LEAST = 64
HOURS_KEPT = 42 * 24
HOUR_S = 3600
# As long as the courses of probes reach back.
DROPS_KEPT_S = 9 * 86_400
DAYS_KEPT = 3
ALKALINITY = "alkalinity"

_open_dose = maker(OpenDose)
_closed_dose = maker(ClosedDose)
_commanded = maker(Commanded)


def charge(state: State, key: str, entry: tuple[int, int, str], day: date) -> None:
    """Count an amount against a key's rolling window and local day.

    Shape: `entry` is (proven milliseconds, amount, tag to take it back by).
    """
    at_ms, amount, tag = entry
    rolling = state.charges.get(key)
    if rolling is None:
        rolling = state.charges[key] = Rolling()
    rolling.add(at_ms, amount, tag)
    days = state.days.get(key)
    if days is None:
        days = state.days[key] = {}
    if day in days:
        days[day] += amount
        return
    days[day] = amount
    # Not the earliest: after a clock that was ahead that would be this very day.
    if len(days) > DAYS_KEPT:
        del days[next(iter(days))]


def charge_told(state: State, event: LedgerMade | LedgerRestored) -> None:
    """Count what a person said was given without an entry; unknown is all of it."""
    if not event.answered:
        state.unanswered_ms = event.proven_ms
    day = event.at.date()
    for pump, volume_ul in event.dosed_ul.items():
        charge(state, f"pump/{pump}", (event.proven_ms, volume_ul, "init"), day)
    for tank, effects in event.effects.items():
        for parameter, amount in effects.items():
            key = f"effect/{tank}/{parameter}"
            charge(state, key, (event.proven_ms, amount, "init"), day)


def hour_of(when: datetime) -> int:
    """The hour of wall time, counted from 1970 in UTC.

    What a tank took up since is reckoned by the wall clock: proven time may lag behind
    the truth, and a gap that looks short is the dangerous one.
    """
    return int(when.timestamp()) // HOUR_S


def believe(state: State, tank: str, effects: Mapping[str, int], event: Event) -> None:
    """Add what is believed to have reached the water when this was written down."""
    for parameter, amount in effects.items():
        key = f"{tank}/{parameter}"
        rolling = state.believed.get(key)
        if rolling is None:
            rolling = state.believed[key] = Rolling()
        rolling.add(event.proven_ms, amount, "")
        if parameter == ALKALINITY:
            _believe_hour(state, tank, hour_of(event.at), amount)
            # To the second only where a probe is read.
            if state.courses:
                drop(state, tank, event.at, amount)


def _believe_hour(state: State, tank: str, hour: int, amount: int) -> None:
    hours = state.hours.get(tank, {})
    if hour in hours:
        hours[hour] += amount
        return
    # Hours ahead are those of a clock that was wrong; one may be a small step back.
    kept = range(hour - HOURS_KEPT + 1, hour + 2)
    if hours and next(reversed(hours)) not in kept:
        hours = {key: known for key, known in hours.items() if key in kept}
    while hours and next(iter(hours)) not in kept:
        del hours[next(iter(hours))]
    hours[hour] = amount
    state.hours[tank] = hours


def drop(state: State, tank: str, when: datetime, amount: int) -> None:
    """Add believed alkalinity to the second in which it reached the water."""
    at_s, drops = int(when.timestamp()), state.drops.setdefault(tank, {})
    in_order = not drops or next(reversed(drops)) <= at_s
    drops[at_s] = drops.get(at_s, 0) + amount
    if not in_order:
        # Told afterwards: it takes the place its own time gives it.
        drops = state.drops[tank] = dict(sorted(drops.items()))
    newest_s = next(reversed(drops))
    while next(iter(drops)) < newest_s - DROPS_KEPT_S:
        del drops[next(iter(drops))]


def plan_for(
    state: State, tank: str, effects: Mapping[str, int], at_ms: int, tag: str
) -> None:
    """Remember what the plan wanted, given or not."""
    for parameter, amount in effects.items():
        key = f"{tank}/{parameter}"
        rolling = state.planned.get(key)
        if rolling is None:
            rolling = state.planned[key] = Rolling()
        rolling.add(at_ms, amount, tag)


def fold_intended(state: State, event: DoseIntended, *, rinses: bool = False) -> None:
    """Charge an intent in full and remember when its last drop can flow.

    One that `rinses` draws clean water and nothing of its bottle, whatever it counts
    as in the water.
    """
    dose, command, at_ms = event.dose, event.command, event.proven_ms
    pump, tank = dose.pump, dose.tank
    attempt, asked_ul = command.attempt, command.ul
    state.open[attempt] = _open_dose(intent=event, rinses=rinses)
    flow = state.flows.get(pump)
    if flow is None or flow.solution != event.solution or flow.tank != tank:
        if flow is not None:
            # What it gives no more is in the water still.
            state.flows[f"{pump}/{flow.tank}/{flow.solution}"] = flow
        flow = Flow(tank=tank, solution=event.solution, end_ms=0)
        state.flows[pump] = flow
    flow.end_ms = event.flow_end_ms
    if not rinses:
        state.drawn_ul[pump] = state.drawn_ul.get(pump, 0) + asked_ul
        state.runs[pump] = state.runs.get(pump, 0) + 1
    note_strength(state.strengths, event)
    state.commanded[f"{command.node}/{command.channel}"] = _commanded(
        boot=command.boot, n=command.n, fence=command.fence
    )
    if event.exchange:
        fold_exchange_intended(state, event)
    day = event.local_day
    if not event.in_water:
        charge(state, f"{event.dose_kind}/{pump}", (at_ms, asked_ul, attempt), day)
        return
    charge(state, f"pump/{pump}", (at_ms, asked_ul, attempt), day)
    if event.dose_kind == "manual":
        charge(state, f"hand/{pump}", (at_ms, asked_ul, attempt), day)
    for parameter, amount in event.effects.items():
        charge(state, f"effect/{tank}/{parameter}", (at_ms, amount, attempt), day)
    if event.planned_effects:
        plan_for(state, tank, event.planned_effects, at_ms, dose.id)
    if asked_ul < event.planned_ul:
        state.wanting[tank] = at_ms


def close_dose(
    state: State, attempt: str, event: Event, charge_ul: int, believed_ul: int
) -> ClosedDose | None:
    """Move an open dose to the closed ones; None when it is not open."""
    known = state.open.pop(attempt, None)
    if known is None:
        return None
    intent, at_ms = known.intent, event.proven_ms
    dose, command = intent.dose, intent.command
    closed = _closed_dose(
        pump=dose.pump,
        node=command.node,
        tank=dose.tank,
        asked_ul=command.ul,
        charge_ul=command.ul,
        believed_ul=believed_ul,
        effects=intent.effects,
        in_water=intent.in_water,
        local_day=intent.local_day,
        proven_ms=at_ms,
        sealed=False,
        dose_kind=intent.dose_kind,
        exchange=intent.exchange,
    )
    state.closed[attempt] = closed
    if intent.exchange:
        fold_exchange_closed(state, intent, event, believed_ul)
    if closed.in_water:
        if believed_ul == closed.asked_ul:
            believe(state, closed.tank, closed.effects, event)
        else:
            believe(state, closed.tank, _share(closed, believed_ul), event)
            state.wanting[closed.tank] = at_ms
    if charge_ul > closed.charge_ul:
        _raise_charge(state, attempt, closed, at_ms, charge_ul)
    if len(state.closed) % CLOSED_AT_LEAST == 0:
        _forget_closed(state, at_ms - CLOSED_KEPT_MS)
    return closed


def is_short(asked_ul: int, reported_ul: int) -> bool:
    """Less than nine tenths of what was asked."""
    return reported_ul * 10 < asked_ul * 9


def fold_ended(state: State, event: DoseEnded) -> None:
    """Close a dose with what was reported."""
    known = state.open.get(event.attempt)
    closed = close_dose(state, event.attempt, event, event.charge_ul, event.believed_ul)
    if known is None or closed is None:
        return
    pump, flow = closed.pump, state.flows[closed.pump]
    wear(state, pump, event.ran_ms or known.intent.command.ms)
    if event.source != "asked" and event.proven_ms < flow.end_ms:
        flow.end_ms = event.proven_ms
    if event.believed_ul != closed.asked_ul and not known.rinses:
        state.drawn_ul[pump] += event.believed_ul - closed.asked_ul
    if event.source != "asked" and pump in state.unseen:
        del state.unseen[pump]
    # A run that was stopped on purpose, or that nobody saw, tells nothing of the pump.
    if event.how == "stopped" or event.source == "asked":
        return
    if is_short(closed.asked_ul, event.believed_ul):
        state.short_streak[pump] = state.short_streak.get(pump, 0) + 1
    elif pump in state.short_streak:
        del state.short_streak[pump]


def fold_sealed(state: State, event: DoseSealed) -> None:
    """Close a dose nobody can tell of: as asked, for good."""
    known = state.open.get(event.attempt)
    if known is None:
        return
    asked_ul = known.intent.command.ul
    close_dose(state, event.attempt, event, asked_ul, asked_ul)
    wear(state, known.intent.dose.pump, known.intent.command.ms)
    _not_seen(state, known.intent.dose.pump)
    state.closed[event.attempt].sealed = True


def fold_voided(state: State, event: DoseVoided) -> None:
    """Give a charge back: it is proven that nothing ran and nothing can."""
    known = state.open.pop(event.attempt, None)
    if known is None:
        return
    intent = known.intent
    if intent.exchange:
        fold_exchange_voided(state, intent)
    attempt, pump = event.attempt, intent.dose.pump
    if not known.rinses:
        state.drawn_ul[pump] -= intent.command.ul
        state.runs[pump] = state.runs.get(pump, 1) - 1
    state.wanting[intent.dose.tank] = event.proven_ms
    _not_seen(state, pump)
    if not intent.in_water:
        _take_back(state, f"{intent.dose_kind}/{pump}", attempt, intent.local_day)
        return
    _take_back(state, f"pump/{pump}", attempt, intent.local_day)
    if intent.dose_kind == "manual":
        _take_back(state, f"hand/{pump}", attempt, intent.local_day)
    for parameter in intent.effects:
        key = f"effect/{intent.dose.tank}/{parameter}"
        _take_back(state, key, attempt, intent.local_day)


def _not_seen(state: State, pump: str) -> None:
    state.unseen[pump] = state.unseen.get(pump, 0) + 1


def fold_charge_raised(state: State, event: ChargeRaised) -> None:
    """Charge the difference a late report showed."""
    closed = state.closed.get(event.attempt)
    if closed is not None:
        if closed.exchange and (more_ul := event.charge_ul - closed.charge_ul) > 0:
            fold_exchange_raised(state, closed.exchange, more_ul)
        _raise_charge(state, event.attempt, closed, event.proven_ms, event.charge_ul)


def _raise_charge(
    state: State, attempt: str, closed: ClosedDose, at_ms: int, charge_ul: int
) -> None:
    more_ul = charge_ul - closed.charge_ul
    if more_ul <= 0:
        return
    day = closed.local_day
    account = "pump" if closed.in_water else closed.dose_kind
    charge(state, f"{account}/{closed.pump}", (at_ms, more_ul, attempt), day)
    if closed.dose_kind == "manual":
        charge(state, f"hand/{closed.pump}", (at_ms, more_ul, attempt), day)
    # A run into a cylinder has no effects.
    for parameter, amount in closed.effects.items():
        key = f"effect/{closed.tank}/{parameter}"
        # Up for a charge: the larger whole number counts.
        more = -(-amount * more_ul // closed.asked_ul)
        charge(state, key, (at_ms, more, attempt), day)
    closed.charge_ul = charge_ul


def _share(closed: ClosedDose, believed_ul: int) -> dict[str, int]:
    return {
        parameter: amount * believed_ul // closed.asked_ul
        for parameter, amount in closed.effects.items()
    }


def _take_back(state: State, key: str, tag: str, day: date) -> None:
    rolling = state.charges[key]
    before = rolling.total
    rolling.remove(tag)
    days = state.days[key]
    if day in days:
        days[day] -= before - rolling.total


def _forget_closed(state: State, before_ms: int) -> None:
    # Doses stand in the order they were closed in, and proven time never falls.
    closed = state.closed.items()
    for attempt, _ in list(
        takewhile(lambda one: one[1].proven_ms <= before_ms, closed)
    ):
        del state.closed[attempt]
