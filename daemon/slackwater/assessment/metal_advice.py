"""What to do about traces and contaminants that should not be there.

Floor 3. One subject: remedies for contaminants. Laws here: one result is a hypothesis,
so that what is only watched is looked for in the new water and the salt, and not taken
out before a second sample says the same; what nobody doses and is to be acted on is
tested again at once, and taken out meanwhile; nothing is ever answered by a dose;
carbon is credited with organics only.
Source: mass balances; capacities and intervals are common practice or from memory and
say so.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date

from slackwater.assessment.changing import Changing, changing, new_water
from slackwater.assessment.picture import Picture
from slackwater.assessment.records import Advice, TraceStanding
from slackwater.assessment.trace_bands import CORRODING
from slackwater.water.removal import RESIN_METALS, RESIN_MMOL_PER_ML, resin_ml
from slackwater.water.show import show_figure

# Of what is done first, by stage; the others need nothing.
RANKS: Mapping[str, int] = {"act": 30, "watch": 70}
# A second sample of what is to be acted on comes before all else.
RANK_PRESSING = 29
RETEST_ACT_DAYS = 7.0
RETEST_WATCH_DAYS = 28.0


def metal_advice(picture: Picture) -> Iterator[Advice]:
    """The remedies for every trace that is watched or acted on, each told once.

    One bottle, one change of water and one look at the equipment serve them all.
    """
    watched = [one for one in picture.traces.values() if one.stage in RANKS]
    pressing = [one for one in watched if is_pressing(one, picture)]
    sure = [one for one in watched if one.confirmed or one in pressing]
    # What was looked for in the new water, or what a pump brings, has its answer.
    explained = {*new_water(picture), *picture.dosed}
    doubtful = [
        one for one in watched if not one.confirmed and one.parameter not in explained
    ]
    if doubtful:
        yield _new_water(doubtful, picture)
    if watched:
        yield _bottle(watched, picture)
    if corroding := [one for one in sure if one.parameter in CORRODING]:
        yield _corroding(corroding, picture)
    # By salinity alone it may be watched at less than its watch level.
    yield from _changes([one for one in sure if _fall(one) >= 0], picture)
    # At its watch level nothing is left to hold.
    bound = [one for one in sure if one.parameter in RESIN_METALS and _fall(one) > 0]
    if bound:
        yield _resin(bound, picture)


def is_pressing(found: TraceStanding, picture: Picture) -> bool:
    """Whether it is to be acted on, though nobody doses it."""
    return found.stage == "act" and found.parameter not in picture.dosed


def _new_water(found: Sequence[TraceStanding], picture: Picture) -> Advice:
    shown = listed(f"{one.parameter} {show_figure(_level(one))}" for one in found)
    results = "one result is" if len(found) == 1 else "one result of each is"
    return Advice(
        remedy="test_new_water",
        parameter="",
        text=f"Test the new water and the salt for what was seen once ({shown} ug/L): "
        f"{results} only a hypothesis.",
        due_on=_retest_on(found, picture),
        rank=_rank(found),
        figures={f"{one.parameter}_ug_per_l": one.value for one in found},
    )


def _bottle(found: Sequence[TraceStanding], picture: Picture) -> Advice:
    open_ones = [one.parameter for one in found if not one.confirmed]
    sure = [one.parameter for one in found if one.confirmed]
    pressing = [one for one in found if is_pressing(one, picture) and not one.confirmed]
    aims = []
    if open_ones:
        aims.append(f"to confirm or refute {listed(open_ones)}")
    if sure:
        aims.append(f"to see {listed(sure)} fall")
    when, due_on, rank = "", _retest_on(found, picture), _rank(found) + 1
    if pressing and not _is_posted(pressing, picture):
        when, due_on, rank = " at once", picture.today, RANK_PRESSING
    return Advice(
        remedy="retest",
        parameter="",
        text=f"Send another sample{when} {', and '.join(aims)}.",
        due_on=due_on,
        rank=rank,
    )


def _is_posted(pressing: Sequence[TraceStanding], picture: Picture) -> bool:
    """Whether a bottle was filled since: then its result is waited for."""
    newest = max(one.sampled_at for one in pressing)
    return any(one.taken_at > newest for one in picture.history.samples)


def _corroding(found: Sequence[TraceStanding], picture: Picture) -> Advice:
    by_sources: dict[str, list[str]] = {}
    for one in found:
        by_sources.setdefault(one.sources, []).append(one.parameter)
    told = "; ".join(
        f"{listed(names)}: {sources}" for sources, names in by_sources.items()
    )
    return Advice(
        remedy="find_corroding_part",
        parameter="",
        text=f"Look for a corroding part. It gives off {told}.",
        due_on=picture.today,
        rank=_rank(found) + 2,
    )


def _changes(found: Sequence[TraceStanding], picture: Picture) -> Iterator[Advice]:
    """The changes that bring all of them down; what new water carries is said apart."""
    plans = {
        one.parameter: changing(one.parameter, _level(one), one.watch, picture)
        for one in found
    }
    reached = [one for one in found if plans[one.parameter].count is not None]
    carried = [one for one in found if plans[one.parameter].count is None]
    if reached:
        longest = max(reached, key=lambda one: plans[one.parameter].count or 0)
        yield _change(reached, plans[longest.parameter], picture)
    for one in carried:
        yield _change([one], plans[one.parameter], picture)


def _change(found: Sequence[TraceStanding], plan: Changing, picture: Picture) -> Advice:
    aims = listed(
        f"{one.parameter} from {show_figure(_level(one))} below "
        f"{show_figure(one.watch)}"
        for one in found
    )
    return Advice(
        remedy="water_change",
        parameter="" if plan.count is not None else found[0].parameter,
        text=f"Bring {aims} ug/L: {plan.words}.",
        due_on=picture.due(1.0),
        rank=_rank(found) + 3,
        figures={
            "changes": plan.count,
            "fraction": plan.fraction,
            "litres_each": plan.litres,
            **{f"{one.parameter}_ug_per_l": _level(one) for one in found},
        },
    )


def _resin(found: Sequence[TraceStanding], picture: Picture) -> Advice:
    low, high = (
        sum(
            resin_ml(one.parameter, _fall(one), picture.litres, capacity).medium
            for one in found
        )
        for capacity in reversed(RESIN_MMOL_PER_ML)
    )
    return Advice(
        remedy="metal_resin",
        parameter="",
        text=f"Metal-binding resin for {listed(one.parameter for one in found)}: "
        f"{show_figure(low, 2)} to {show_figure(high, 2)} mL would hold it (capacity "
        "from memory), so that flow and contact are the limit; it also strips iron, "
        "manganese and zinc. "
        "Activated carbon takes organically bound metal only: do not count on it.",
        due_on=picture.due(2.0),
        rank=_rank(found) + 4,
        figures={
            "least_ml": low,
            "most_ml": high,
            **{f"{one.parameter}_fall_ug_per_l": _fall(one) for one in found},
        },
    )


def listed(names: Iterable[str]) -> str:
    """Names as a sentence has them: "copper, tin and zinc"."""
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def _level(one: TraceStanding) -> float:
    return max(one.value, one.at_most)


def _fall(one: TraceStanding) -> float:
    return _level(one) - one.watch


def _rank(found: Sequence[TraceStanding]) -> int:
    return min(RANKS[one.stage] for one in found)


def _retest_on(found: Sequence[TraceStanding], picture: Picture) -> date:
    is_act = _rank(found) == RANKS["act"]
    return picture.due(RETEST_ACT_DAYS if is_act else RETEST_WATCH_DAYS)
