"""One tank as everybody may look at it: the retained state document.

Floor 7. One subject: from the moment to figures for people. Laws here: for display
only, never a permission; the figures are those the gate and the alarms reckon with;
what cannot be said is left out and never guessed.
Units: as their names say; dKH and the display units of parameters.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta

from slackwater.alarms.foresight import (
    carried_from,
    day_sums,
    hours_to_ceiling,
    hours_without_dosing,
    in_dkh,
    level_now,
    levels_in_dkh,
    measured,
)
from slackwater.alarms.holds import stopped_by
from slackwater.alarms.words import action, by_pressure, sentence
from slackwater.assessment.records import HALF_WIDTH_90, Assessment
from slackwater.facts.alarms import StandingAlarm
from slackwater.facts.events import HoldRaised
from slackwater.facts.hold_groups import GROUPS, group_of
from slackwater.facts.inventory import left_ul
from slackwater.facts.lives import as_named, will_be_left_out
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Reason
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.tank import Pump, Tank
from slackwater.gate.caps import unanswered_left_ms
from slackwater.gate.exchanges import blocks_top_off
from slackwater.gate.handover import is_old_dosers
from slackwater.gate.moment import ALKALINITY, Moment
from slackwater.planning.draws import lasts_days
from slackwater.planning.wall import zone_named
from slackwater.turn.setup import Setup
from slackwater.water.parameters import parameter_named
from slackwater.water.show import show_seconds
from slackwater.water.spellings import units_of, zero_of

# Doses further ahead are not looked for: a dashboard shows what comes next.
AHEAD = timedelta(days=2)
HOURS = 1
Document = dict[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What a document is made from; `assessed` is the newest assessment, if any.

    `unreached` says why no pump of the tank can be commanded, empty where one can.
    """

    moment: Moment
    setup: Setup
    tank: Tank
    assessed: Assessment | None = None
    unreached: str = ""

    @property
    def pumps(self) -> list[Pump]:
        """The pumps of the tank, in order of their ids."""
        pumps = self.moment.machine.pumps
        return [pump for _, pump in sorted(pumps.items()) if pump.tank == self.tank.id]

    @property
    def holds(self) -> list[tuple[str, HoldRaised]]:
        """The holds that concern the tank, those of everything first."""
        found = [
            (hold_id, hold)
            for hold_id, hold in self.moment.state.holds.items()
            if self._concerns(hold.scope)
        ]
        return sorted(found, key=lambda one: (one[1].scope != "all", one[0]))

    def _concerns(self, scope: str) -> bool:
        word, _, owner = scope.partition("/")
        if word == "pump":
            return owner in {pump.id for pump in self.pumps}
        if word == "node":
            return owner in {pump.node for pump in self.pumps}
        return scope == "all" or owner == self.tank.id


def tank_document(shown: Shown) -> Document:
    """The document of one tank at one moment."""
    state, now = shown.moment.state, shown.moment.now
    word, why = _word(shown)
    coming = list(_coming(shown))
    return {
        "v": 1,
        "at": now.utc.isoformat(),
        "stage": state.stage,
        "word": word,
        "why": why,
        "plan_digest": state.approvals[-1].approval.digest if state.approvals else "",
        "holds": [_hold(hold_id, hold) for hold_id, hold in shown.holds],
        "groups": _groups(shown),
        "totals": {pump.id: _totals(shown, pump) for pump in shown.pumps},
        "levels_ul": _levels(shown),
        "pumps": {pump.id: _pump(shown, pump, coming) for pump in shown.pumps},
        **({"next_dose": _dose(coming[0])} if coming else {}),
        **_alkalinity(shown),
        **_alarms(shown),
        **_assessed(shown.assessed),
        "tasks": _tasks(shown),
        **_top_off(shown),
        "entered": _entered(shown),
    }


def _top_off(shown: Shown) -> Document:
    """Whether the top-off should keep still, where two pumps exchange water."""
    moment, tank = shown.moment, shown.tank.id
    if all(pair.tank != tank for pair in moment.machine.exchanges.values()):
        return {}
    return {"top_off": "blocked" if blocks_top_off(moment, tank) else "free"}


def _word(shown: Shown) -> tuple[str, str]:
    """The state in one word, and why: as the status says it."""
    moment = shown.moment
    if moment.approval is None:
        return "no-plan", "No approved plan is in force."
    if moment.now.utc >= moment.approval.ends_at:
        return "expired", "The approval has expired; a person must approve again."
    if shown.holds:
        return "held", _why(shown.holds[0][1])
    if moment.state.stage == "shadow":
        return "shadow", "Everything is computed and no pump is commanded."
    if left_ms := unanswered_left_ms(moment.state, moment.proven_ms):
        left = show_seconds(left_ms / 1000)
        return "held", f"Nobody said what was dosed: caps are used up for {left}."
    live = "live", "Pumps are commanded by the approved plan."
    return ("cut-off", shown.unreached) if shown.unreached else live


def _why(hold: HoldRaised) -> str:
    scope = "" if hold.scope == "all" else f"{hold.scope}: "
    return f"{scope}{hold.reason.text}"


def _hold(hold_id: str, hold: HoldRaised) -> Document:
    word, _, owner = hold.scope.partition("/")
    return {
        "id": hold_id,
        "pump": owner if word == "pump" else "",
        "latched": hold.latched,
        "reasons": [reason_document(hold.reason)],
    }


def reason_document(reason: Reason) -> Document:
    """One reason as every face shows it."""
    return {
        "code": str(reason.code),
        "text": reason.text,
        "figures": dict(reason.figures),
    }


def _groups(shown: Shown) -> dict[str, bool]:
    there = {group_of(hold.reason.code) for _, hold in shown.holds}
    return {group: group in there for group in GROUPS}


def _totals(shown: Shown, pump: Pump) -> Document:
    given = shown.moment.state.charges.get(f"pump/{pump.id}")
    since = shown.moment.proven_ms - DAY_MS
    return {
        "day_ul": _today_ul(shown, pump),
        "last_24_h_ul": 0 if given is None else given.since(since),
        "per_day_ul": pump.per_day_ul,
    }


def _today_ul(shown: Shown, pump: Pump) -> int:
    zone = zone_named(shown.tank.zone)
    today = shown.moment.now.utc.astimezone(zone).date()
    return shown.moment.state.days.get(f"pump/{pump.id}", {}).get(today, 0)


def _levels(shown: Shown) -> dict[str, int]:
    names = sorted({pump.reservoir for pump in shown.pumps})
    return {name: _left_ul(shown, name) for name in names}


def _left_ul(shown: Shown, reservoir: str) -> int:
    return left_ul(shown.moment.machine, shown.moment.state, reservoir)


def _coming(shown: Shown) -> Iterator[DueDose]:
    """The doses of the tank that lie ahead, are ours and not skipped, in order."""
    utc = shown.moment.now.utc
    for force in reversed(shown.setup.forces):
        if force.approval.takes_over_at > utc:
            continue
        after = max(utc, force.approval.doses_after)
        for planned in force.timetable.between(after, utc + AHEAD):
            dose = as_named(shown.moment.state, planned)
            if dose.tank == shown.tank.id and not _is_settled(shown, dose):
                yield dose
        return


def _is_settled(shown: Shown, dose: DueDose) -> bool:
    state, line = shown.moment.state, f"{dose.tank}/{dose.line}"
    if is_old_dosers(state, line, dose.due_at):
        return True
    now = shown.moment.now.utc, shown.moment.proven_ms
    if will_be_left_out(state, dose, now):
        return True
    return dose.id in state.skipped or dose.id in state.used


def _dose(dose: DueDose) -> Document:
    return {
        "dose": dose.id,
        "pump": dose.pump,
        "due_at": dose.due_at.isoformat(),
        "ul": dose.volume_ul,
    }


def _pump(shown: Shown, pump: Pump, coming: list[DueDose]) -> Document:
    following = next((dose for dose in coming if dose.pump == pump.id), None)
    rest_ul = _left_ul(shown, pump.reservoir)
    days = _days_left(shown, pump, rest_ul)
    return {
        "day_ul": _today_ul(shown, pump),
        "left_ul": rest_ul,
        "held": any(_stops(shown, hold, pump) for _, hold in shown.holds),
        "running": _runs(shown, pump),
        "next_at": following.due_at.isoformat() if following else None,
        "days_left": None if days is None else round(days, 1),
    }


def _days_left(shown: Shown, pump: Pump, rest_ul: int) -> float | None:
    """How long the pump's reservoir lasts all that share it; None without an end."""
    pumps = shown.moment.machine.pumps
    sharing = {one.id for one in pumps.values() if one.reservoir == pump.reservoir}
    today = shown.moment.now.utc.astimezone(zone_named(shown.tank.zone)).date()
    for force in reversed(shown.setup.forces):
        if force.approval.takes_over_at <= shown.moment.now.utc:
            return lasts_days(force.timetable.plan, sharing, rest_ul, today)
    return None


def _stops(shown: Shown, hold: HoldRaised, pump: Pump) -> bool:
    whole = {"all", f"tank/{pump.tank}", f"pump/{pump.id}", f"node/{pump.node}"}
    if hold.scope in whole:
        return True
    lines = shown.moment.rules.lines
    stopped = stopped_by(shown.moment, hold)
    return any(lines[name].line.pump == pump.id for name in stopped if name in lines)


def _runs(shown: Shown, pump: Pump) -> bool:
    node = shown.moment.sight.nodes.get(pump.node)
    channel = None if node is None else node.beat.channels.get(pump.channel)
    return channel is not None and channel.state == "running"


def _alkalinity(shown: Shown) -> Document:
    """The level, how long there is, and what was given of what was planned."""
    moment, tank = shown.moment, shown.tank
    level, start = level_now(moment, tank), carried_from(moment, tank)
    known = measured(moment, tank) or start
    down = hours_without_dosing(moment, tank, level)
    up = hours_to_ceiling(moment, tank, level)
    planned, given = day_sums(moment, tank, ALKALINITY)
    found: Document = {
        "hours_to_floor": {} if down is None else {ALKALINITY: round(down, HOURS)},
        "hours_to_ceiling": {} if up is None else {ALKALINITY: round(up, HOURS)},
        "hours_from": "target" if start is None else "measured",
        "last_24_h": {
            "planned_dkh": in_dkh(planned, tank),
            "given_dkh": in_dkh(given, tank),
        },
    }
    if known is not None:
        found["alkalinity"] = {
            "dkh": levels_in_dkh(known.value),
            "at": known.at.isoformat(),
            "source": known.source,
        }
    return found


def _alarms(shown: Shown) -> Document:
    """What stands for this tank, and what nobody has acknowledged yet."""
    known = [
        one
        for one in shown.moment.state.alarms.values()
        if not one.raised.tanks or shown.tank.id in one.raised.tanks
    ]
    standing = by_pressure(one for one in known if one.is_standing)
    unseen = by_pressure(one for one in known if one.wants_eyes)
    found: Document = {
        "alarms": len(standing),
        "problem": any(one.raised.priority != "note" for one in standing),
    }
    if standing:
        found["alarm"] = _alarm(standing[0])
    if unseen:
        found["unseen"] = unseen[0].first.alarm
    return found


def _alarm(known: StandingAlarm) -> Document:
    raised = known.raised
    return {
        "alarm": raised.alarm,
        "priority": raised.priority,
        "text": sentence(raised),
        "action": action(raised),
    }


def _assessed(found: Assessment | None) -> Mapping[str, object]:
    """Where each parameter stands and what is taken up, as last assessed."""
    if found is None:
        return {}
    return {
        "standings": {
            name: {
                "word": one.word.replace(" ", "-"),
                "value": None if one.sampled is None else _level(name, one.sampled),
                "unit": _unit(name),
                "at": None if one.sampled_at is None else one.sampled_at.isoformat(),
            }
            for name, one in sorted(found.standings.items())
        },
        "uptakes": {
            name: {
                "per_day": _rate(name, one.per_day),
                "low": _rate(name, one.low_per_day),
                "high": _rate(name, one.per_day + HALF_WIDTH_90 * one.sd_per_day),
                "unit": f"{_unit(name)}/d",
            }
            for name, one in sorted(found.uptakes.items())
        },
    }


def _entered(shown: Shown) -> Document:
    """The newest unconfirmed test of each parameter."""
    told = [
        one.told
        for one in shown.moment.state.entered.values()
        if one.told.tank == shown.tank.id
    ]
    return {
        one.parameter: {
            "id": one.id,
            "value": _level(one.parameter, one.value),
            "unit": _unit(one.parameter),
            "at": one.taken_at.isoformat(),
        }
        for one in sorted(told, key=lambda one: (one.taken_at, one.id))
    }


def _unit(parameter: str) -> str:
    return parameter_named(parameter, where="").display_unit


def _level(parameter: str, level: float) -> float:
    return _rate(parameter, level - float(zero_of(_unit(parameter))))


def _rate(parameter: str, rate: float) -> float:
    """A difference in the unit people use, to a digit more than they write."""
    item = parameter_named(parameter, where="")
    number = rate / float(units_of(item)[item.display_unit])
    return round(number, item.decimals + 1)


def _tasks(shown: Shown) -> Document:
    state, zone = shown.moment.state, zone_named(shown.tank.zone)
    today = shown.moment.now.utc.astimezone(zone).date()
    tasks = [task for task in state.tasks.values() if task.tank == shown.tank.id]
    first = min(tasks, key=lambda task: (task.due_on, task.task), default=None)
    return {
        "open": len(tasks),
        "due": sum(task.due_on <= today for task in tasks),
        "next": "" if first is None else first.text,
        "due_on": "" if first is None else first.due_on.isoformat(),
    }
