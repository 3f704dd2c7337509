"""What a tank got less of than was planned, and nothing else accounts for.

Floor 4. One subject: missed doses. Laws here: a root accounts for the doses that it
stops or shortens and for no others; one that ended accounts for what fell due until
then; on the way back after a gap the share that is allowed is what is due.
Source: shares of missed doses are common practice, no source.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from slackwater.alarms.aftermath import ended_lately
from slackwater.alarms.conditions import EVERYTHING, Condition
from slackwater.alarms.foresight import day_sums, in_dkh, sums_since
from slackwater.alarms.rows import ROWS
from slackwater.facts.alarms import Cause, alarm_id
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.tank import Tank
from slackwater.gate.moment import ALKALINITY, LineRule, Moment, daily_of
from slackwater.gate.resuming import WHOLE, resume_ppm
from slackwater.planning.stretches import day_in, is_over

# So much of a day's plan may be missing before it is told, and so little after.
SHORT_SHARE, SHORT_SHARE_OFF = 0.25, 0.15
# Nobody is woken for less than this in a day.
LEAST_SHORT_DKH = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """What one root takes from the doses of a tank: lines, and a part of the others.

    `ended_ms` is the proven time at which it ended, None while it lasts.
    """

    stops: frozenset[str]
    share: float = 1.0
    ended_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """From when on doses count as due, proven milliseconds, and what part of them."""

    since_ms: int
    share: float


def missed(moment: Moment, roots: Mapping[str, Condition]) -> Iterator[Condition]:
    """Less of anything than was planned for the last 24 h, beyond what roots explain.

    `roots` is what else is wrong now, by the name of its alarm. Gives at most one for
    each tank.
    """
    for _, tank in sorted(moment.machine.tanks.items()):
        for parameter, rules in sorted(_lines_by_parameter(moment, tank).items()):
            found = _missed(moment, tank, (parameter, rules), roots)
            if found is not None:
                yield found
                break


def _missed(
    moment: Moment,
    tank: Tank,
    what: tuple[str, Mapping[str, LineRule]],
    roots: Mapping[str, Condition],
) -> Condition | None:
    parameter, rules = what
    known = moment.state.alarms.get(alarm_id(Cause.MISSED_DOSES, tank.id))
    stands = known is not None and known.is_standing
    in_a_day, came = day_sums(moment, tank, parameter)
    least = (SHORT_SHARE_OFF if stands else SHORT_SHARE) * in_a_day
    # The rule: all that was planned came, and nobody needs to account for anything.
    if in_a_day <= 0 or in_a_day - came <= least:
        return None
    losses = _losses(moment, tank, rules, roots)
    due = _due(moment, tank, what, losses)
    if not stands:
        # What led to the way back is no news; what was told before it began still is.
        since_ms = max(due.since_ms, _resumed_ms(moment, tank, rules))
        due = replace(due, since_ms=since_ms)
    planned, given = sums_since(moment, tank, parameter, due.since_ms)
    short = planned * due.share - given
    if short <= least:
        return None
    if parameter == ALKALINITY and in_dkh(short, tank) < LEAST_SHORT_DKH:
        return None
    return Condition(
        cause=Cause.MISSED_DOSES,
        about=tank.id,
        tanks=(tank.id,),
        # As it went on until now, so it may: that tells how long there is.
        share=given / planned if parameter == ALKALINITY else 1.0,
        figures={
            "parameter": parameter,
            "given_percent": round(100 * given / planned),
        },
    )


def _lines_by_parameter(moment: Moment, tank: Tank) -> dict[str, dict[str, LineRule]]:
    """What the plan in force doses into a tank, each with its lines by name."""
    found: dict[str, dict[str, LineRule]] = {}
    for name, rule in moment.rules.lines.items():
        pump = moment.rules.pumps.get(rule.line.pump)
        if rule.line.tank != tank.id or pump is None:
            continue
        for effect in pump.effects:
            found.setdefault(effect.parameter, {})[name] = rule
    return found


def _losses(
    moment: Moment,
    tank: Tank,
    rules: Mapping[str, LineRule],
    roots: Mapping[str, Condition],
) -> Iterator[Loss]:
    """What is wrong now, and what was until lately, as far as it is told for itself."""
    for root in roots.values():
        hides = Cause.MISSED_DOSES in ROWS[root.cause].hides
        if tank.id in root.tanks and (hides or root.stops):
            yield Loss(stops=root.stops, share=root.share)
    ended = ended_lately(moment, Cause.MISSED_DOSES, {tank.id}, roots)
    for known, ago in ended:
        raised = known.raised
        # Water that is low takes no more than its share, however it ended.
        whole = raised.about == EVERYTHING
        yield Loss(
            stops=frozenset(rules) if whole else frozenset(raised.stops),
            share=raised.share,
            ended_ms=moment.proven_ms - int(ago.total_seconds() * 1000),
        )


def _due(
    moment: Moment,
    tank: Tank,
    what: tuple[str, Mapping[str, LineRule]],
    losses: Iterator[Loss],
) -> Due:
    """What should have come all the same.

    A loss that ended and took everything counts until its end; one that took a part is
    taken to have lasted all the day.
    """
    since_ms, share = moment.proven_ms - DAY_MS, 1.0
    stopped: set[str] = set()
    for loss in losses:
        if loss.ended_ms is not None and loss.stops >= what[1].keys():
            since_ms = max(since_ms, loss.ended_ms)
            continue
        stopped |= loss.stops
        share = min(share, loss.share)
    if _resumed_ms(moment, tank, what[1]):
        share = min(share, resume_ppm(moment, tank.id) / WHOLE)
    share *= _going_on(moment, tank, what, stopped)
    return Due(since_ms=since_ms, share=share)


def _resumed_ms(moment: Moment, tank: Tank, rules: Mapping[str, LineRule]) -> int:
    """When the way back began that shortens these lines; 0 where none does."""
    if not any(rule.follows_alkalinity for rule in rules.values()):
        return 0
    return moment.state.resuming.get(tank.id, 0)


def _going_on(
    moment: Moment,
    tank: Tank,
    what: tuple[str, Mapping[str, LineRule]],
    stopped: set[str],
) -> float:
    """The part of a parameter that comes by lines which nothing stops."""
    parameter, rules = what
    today = day_in(tank.zone, moment.now.utc)
    daily = {
        name: daily_of(rule.line, moment.rules.pumps, parameter)
        for name, rule in rules.items()
        if not is_over(rule.line, today)
    }
    whole = sum(daily.values())
    going_on = sum(amount for name, amount in daily.items() if name not in stopped)
    return going_on / whole if whole > 0 else 1.0
