"""The first screen, in words.

Floor 8. One subject: what a person must have read before approving. Laws here: every
line is made once and printed by every face; no line without its figure; refusals stand
first; what was not covered is said each time.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from slackwater.cli.amounts import effect_words
from slackwater.cli.high_tests import raised_by
from slackwater.cli.rehearsal_document import NOT_COVERED
from slackwater.cli.render import local
from slackwater.cli.report.extent import correction_lines, over_since
from slackwater.cli.report.made import Report
from slackwater.cli.report.minds import minds
from slackwater.cli.report.past import Interval
from slackwater.cli.report.supplies import (
    bottle_words,
    days_note,
    old_words,
    tube_words,
)
from slackwater.cli.report.words import (
    day_words,
    hours_words,
    level_words,
    rate_words,
    seconds_words,
)
from slackwater.facts.plan import PlanLine
from slackwater.planning.changes import Change
from slackwater.planning.daily import hours_to_ceiling
from slackwater.rehearsal.faults.case import FaultRun
from slackwater.rehearsal.forecast import Forecast
from slackwater.rehearsal.virtual_tank import ALKALINITY
from slackwater.rehearsal.worst_case import Worst, stuck
from slackwater.water.show import show_volume

SHORT_DIGEST = 8
# So many reasons for which cases were not tried fit beside the rest of the screen.
REASONS_SHOWN = 2
NOTHING = "nothing was carried over"


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing the first screen says; `grave` marks what speaks against the plan."""

    key: str
    title: str
    lines: tuple[str, ...]
    grave: bool = False


def summary(report: Report) -> tuple[Item, ...]:
    """Every item in its order; none is empty."""
    refused = [f"{one.where}: {one.what}" for one in report.done.findings]
    looked = minds(report)
    items = (
        Item(
            key="verdict",
            title="Verdict",
            lines=(verdict(report),),
            grave=bool(report.done.findings or report.done.missed or _tested(report)),
        ),
        Item(key="refusals", title="Refused", lines=tuple(refused), grave=True),
        Item(key="minds", title="Look twice", lines=looked, grave=True),
        Item(key="corrections", title="Corrections", lines=tuple(_corrected(report))),
        Item(key="changes", title="Changes", lines=tuple(_changes(report))),
        Item(key="adds", title="A day", lines=tuple(_adds(report))),
        Item(key="old", title="Old doser", lines=tuple(old_words(report))),
        Item(key="forecast", title="Forecast", lines=tuple(_forecasts(report))),
        Item(key="times", title="Time left", lines=tuple(_times(report))),
        _stuck(report),
        Item(key="bottle", title="First empty", lines=tuple(bottle_words(report))),
        Item(key="tubes", title="Tubes", lines=tuple(tube_words(report))),
        Item(key="highest", title="Highest day", lines=(_highest(report),)),
        Item(
            key="faults",
            title="Faults",
            lines=tuple(_faults(report.faults)),
            grave=is_unsound(report.faults),
        ),
        Item(key="not_covered", title="Not covered", lines=(_not_covered(),)),
    )
    return tuple(item for item in items if item.lines)


def verdict(report: Report) -> str:
    """What would happen, in one sentence."""
    record, done = report.done.record, report.done
    would = len(record.doses) - len(done.missed)
    less = sum(each.verdict == "shortened" for each in record.doses)
    count = len(done.findings)
    refused = "nothing refused"
    if count:
        refused = f"refused {count} times, so it cannot be approved"
    return (
        f"{record.first} to {record.until}{days_note(report)}: would dose {would} "
        f"times ({less} shortened), would miss {len(done.missed)}; {refused}."
        f"{_nothing_due(report)}{_tested(report)}{_leaves(report)}"
    )


def _nothing_due(report: Report) -> str:
    """Why no dose is due on the rehearsed days; empty where one is."""
    record, plan = report.done.record, report.plan
    if record.doses or not plan.lines:
        return ""
    over = over_since(plan, record.first)
    if over is not None:
        return f" No dose is due: the plan's last day was {over}."
    return f" No dose is due: the plan starts on {plan.starts}."


def _tested(report: Report) -> str:
    """A warning where the newest test of what the plan adds is above its bound."""
    plan, machine = report.plan, report.machine
    return "".join(
        f" Warning: {told}"
        for tank, found in sorted(report.past.too_high.items())
        for name, told in found.items()
        if name in raised_by(plan, machine, tank)
    )


def _leaves(report: Report) -> str:
    """A warning where a level would leave its bounds as things are believed."""
    told = [
        f" Warning: {each.tank} would {BEYOND_WORDS[one.bound]} from "
        f"{day_words(one.at, report.machine.tanks[each.tank].zone)} on."
        for each in report.forecasts
        for one in each.crossings
        if one.uptake == "same"
    ]
    return "".join(told)


def _corrected(report: Report) -> Iterator[str]:
    record = report.done.record
    yield from correction_lines(report.plan, (record.first, record.until))


def _changes(report: Report) -> Iterator[str]:
    before = report.past.before
    if before is None:
        yield "no plan was approved before: all of it is new"
    elif not report.changes:
        yield from _same_amounts(report, before.approval.serial)
    yield from (change_words(report, change) for change in report.changes)


def _same_amounts(report: Report, serial: int) -> Iterator[str]:
    if not report.touched:
        yield f"nothing: no pump and no parameter differs from approval {serial}"
        return
    yield f"no amount differs from approval {serial}"
    for pump, why in report.touched.items():
        yield f"pump {pump}: {', '.join(why)}"


def change_words(report: Report, change: Change) -> str:
    """One change against the approved plan."""
    amounts = (change.before, change.after)
    tank = report.machine.tanks.get(change.tank)
    if change.pump or tank is None:
        old, new = (show_volume(amount) for amount in amounts)
    else:
        old, new = (effect_words(change.parameter, amount, tank) for amount in amounts)
    subject = change.pump or f"{change.tank} {change.parameter}"
    ratio = "new" if change.ratio is None else f"x {float(change.ratio):.2f}"
    return f"{subject}: {old} to {new} a day ({ratio})"


def _adds(report: Report) -> Iterator[str]:
    """Volumes by tank, then each parameter beside its uptake."""
    for tank in sorted({line.tank for line in report.plan.lines}):
        volumes = [
            f"{line.id} {show_volume(line.per_day_ul)}{_by(line)}"
            for line in report.plan.lines
            if line.tank == tank
        ]
        yield f"{tank}: {', '.join(volumes)}"
        for (of, name), amount in sorted(report.planned.items()):
            if of == tank:
                yield f"{tank} {name}: {_beside_uptake(report, tank, name, amount)}"


def _by(line: PlanLine) -> str:
    """The pump, where its name does not say that it gives this."""
    return "" if line.solution in line.pump else f" by pump {line.pump}"


def _beside_uptake(report: Report, tank_id: str, name: str, amount: int) -> str:
    tank = report.machine.tanks[tank_id]
    added = f"+{effect_words(name, amount, tank)} a day"
    outside = report.outside(tank_id, name)
    if outside:
        added = f"{added} and {effect_words(name, outside, tank)} from outside"
    uptake = report.uptakes[tank_id].get(name)
    if uptake is None:
        return f"{added}, uptake not stated"
    return f"{added}, uptake {interval_words(name, uptake)}"


def interval_words(parameter: str, uptake: Interval) -> str:
    """An uptake with its bounds and where they come from."""
    estimate = rate_words(parameter, uptake.estimate)
    low = rate_words(parameter, uptake.low)
    if uptake.high is None:
        return f"{estimate} (at least {low}, {uptake.source})"
    return (
        f"{estimate} ({low} to {rate_words(parameter, uptake.high)}, {uptake.source})"
    )


def _forecasts(report: Report) -> Iterator[str]:
    for each in report.forecasts:
        yield from _forecast(report, each)


def _forecast(report: Report, each: Forecast) -> Iterator[str]:
    if not any(line.tank == each.tank for line in report.plan.lines):
        return
    if not each.bands:
        yield f"{each.tank}: none, because no uptake is stated or shown by tests"
        return
    days = (report.done.record.until - report.done.record.first).days + 1
    bands = {band.parameter: band for band in each.bands}
    band = bands.get(ALKALINITY, each.bands[0])
    name = band.parameter
    ends = {
        uptake: level_words(name, getattr(band, uptake)[-1])
        + _left(report, each, uptake)
        for uptake in ("more", "same", "less")
    }
    yield (
        f"{each.tank} {name}: {level_words(name, band.same[0])} now, {ends['same']} "
        f"after {days} days; with 30 % more uptake {ends['more']}, with 30 % less "
        f"{ends['less']}{_source(report, each.tank, name)}"
    )


def _source(report: Report, tank: str, name: str) -> str:
    """Where level and uptake of a forecast come from, as beside the day."""
    uptake = report.uptakes[tank].get(name)
    if uptake is None:
        return ""
    used = "uptake by tests" if uptake.source == "tests" else "uptake as stated"
    return f"; {_level_is(report, tank, name)}, {used}"


def _level_is(report: Report, tank: str, name: str) -> str:
    """What the level at the beginning is, and of which time."""
    past = report.past
    if past.at is None or name not in past.levels.get(tank, {}):
        return "from its target"
    if name in past.assessed.get(tank, frozenset()):
        return f"as assessed of {local(past.at, report.machine.tanks[tank].zone)}"
    if name in past.believed.get(tank, frozenset()):
        at = local(past.at, report.machine.tanks[tank].zone)
        return f"from its last test, as believed at {at}"
    return "as it was tested last, not carried to now"


def _left(report: Report, each: Forecast, uptake: str) -> str:
    """From when on a level would be beyond a bound, in brackets; often empty."""
    zone = report.machine.tanks[each.tank].zone
    told = [
        f"{BEYOND[crossing.bound]} from {day_words(crossing.at, zone)}"
        for crossing in each.crossings
        if crossing.uptake == uptake
    ]
    return f" ({', '.join(told)})" if told else ""


BEYOND_WORDS = {"floor": "fall below its floor", "ceiling": "rise above its ceiling"}
BEYOND = {"floor": "below the floor", "ceiling": "above the ceiling"}


def _times(report: Report) -> Iterator[str]:
    for tank in sorted({line.tank for line in report.plan.lines}):
        guard = report.machine.guards.get(tank)
        hours = report.hours[tank]
        rises = hours_to_ceiling(report.plan, report.machine, tank)
        told = []
        low, high = _begins(report, tank)
        if guard is not None and hours.steady is not None:
            floor = level_words(ALKALINITY, guard.floor)
            span = hours_words(hours.steady)
            if hours.falling is not None:
                span = f"{span} to {hours_words(hours.falling)}"
            told.append(f"{low}floor {floor} in {span} if dosing stopped")
        if guard is not None and rises is not None:
            ceiling = level_words(ALKALINITY, guard.ceiling)
            again = high if high != low or not told else ""
            rise = hours_words(rises)
            told.append(f"{again}ceiling {ceiling} in {rise} if uptake stopped")
        if told:
            yield f"{tank}: {'; '.join(told)}"


def _begins(report: Report, tank: str) -> tuple[str, str]:
    """From which level the way to the floor, and that to the ceiling, is reckoned."""
    target = report.machine.tanks[tank].targets.get(ALKALINITY)
    high = ""
    if target is not None:
        high = f"from the target {level_words(ALKALINITY, target)}: "
    tested = report.past.levels.get(tank, {}).get(ALKALINITY)
    if tested is None:
        return high, high
    return f"from {level_words(ALKALINITY, tested)} as last known: ", high


def _stuck(report: Report) -> Item:
    """What one stuck pump would give; grave where the tank does not tolerate it."""
    worst = stuck(report.worst)
    lines: tuple[str, ...] = ()
    grave = False
    if worst is not None:
        grave = worst.tolerable is False
        lines = (_stuck_words(report, worst),)
    return Item(key="stuck", title="Stuck pump", lines=lines, grave=grave)


def _stuck_words(report: Report, worst: Worst) -> str:
    volume = show_volume(worst.volume_ul)
    said = f"{worst.pump} up to its node's limit gives {volume} in 24 h"
    if worst.level is None:
        return f"{said}; no alkalinity comes with it"
    tank = report.machine.tanks[worst.tank]
    added = effect_words(ALKALINITY, worst.effects[ALKALINITY], tank)
    said = f"{said}: +{added}, to {level_words(ALKALINITY, worst.level)}"
    guard = report.machine.guards.get(worst.tank)
    if guard is None:
        return said
    beyond = "above" if worst.tolerable is False else "below"
    ceiling = level_words(ALKALINITY, guard.ceiling)
    # Two levels that read alike are told apart by the word.
    just = "just " if ceiling == level_words(ALKALINITY, worst.level) else ""
    return f"{said}, {just}{beyond} the ceiling of {ceiling}"


def _highest(report: Report) -> str:
    return (
        f"{show_volume(report.highest_ul)} of one tank, all pumps together; "
        "`approve` asks for it"
    )


def is_unsound(run: FaultRun | None) -> bool:
    """Whether a fault that was tried ended badly."""
    return run is not None and not all(one.is_sound for one in run.tried)


def _faults(run: FaultRun | None) -> Iterator[str]:
    if run is None:
        yield "not tried; --faults tries them, and an approval needs that"
        return
    tried = run.tried
    if not tried:
        yield f"none could be tried: {run.not_tried[0].why}"
        return
    bad = [one.case for one in tried if not one.is_sound]
    carried = [one.case for one in tried if one.carried]
    slowest = max((one.safe_after_s or 0.0 for one in tried), default=0.0)
    worst = max(
        (one.highest for one in tried), key=lambda one: one.charged_ul / one.cap_ul
    )
    told = f"carried over by {', '.join(carried)}" if carried else NOTHING
    unsound = f"NOT SOUND: {', '.join(bad)}; " if bad else ""
    yield (
        f"{unsound}{len(tried)} tried, {len(run.not_tried)} could not be tried; most "
        f"in any 24 h: {show_volume(worst.charged_ul)} of {show_volume(worst.cap_ul)} "
        f"({worst.pump}); slowest to a safe state: {seconds_words(slowest)}; {told}"
    )
    if run.not_tried:
        yield _left_words(run)


def _left_words(run: FaultRun) -> str:
    """Why cases could not be tried, the most frequent reasons with their count."""
    whys = Counter(one.why.partition(":")[0] for one in run.not_tried)
    shown = whys.most_common(REASONS_SHOWN)
    told = [f"{count} as {why}" for why, count in shown]
    rest = len(run.not_tried) - sum(count for _, count in shown)
    if rest:
        told.append(f"{rest} for other reasons (the page and --full list them)")
    return f"not tried: {'; '.join(told)}"


def _not_covered() -> str:
    return NOT_COVERED.removeprefix("Not covered: ")
