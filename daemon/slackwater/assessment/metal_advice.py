"""What to do about traces and contaminants that should not be there.

Floor 3. One subject: remedies for contaminants. Laws here: one result is a hypothesis,
so that the first thing is to look at the new water and the salt; nothing is ever
answered by a dose; carbon is credited with organics only.
Source: mass balances; capacities and intervals are common practice or from memory and
say so.
"""

from collections.abc import Iterator

from slackwater.assessment.changing import changing
from slackwater.assessment.picture import Picture
from slackwater.assessment.records import Advice, TraceStanding
from slackwater.assessment.trace_bands import CORRODING
from slackwater.water.removal import RESIN_METALS, RESIN_MMOL_PER_ML, resin_ml

RANK_ACT = 30
RANK_WATCH = 70
RETEST_ACT_DAYS = 7.0
RETEST_WATCH_DAYS = 28.0


def metal_advice(picture: Picture) -> Iterator[Advice]:
    """The remedies for every trace that is watched or acted on."""
    for found in picture.traces.values():
        if found.stage not in {"watch", "act"}:
            continue
        yield from _hypothesis(found, picture)
        if found.confirmed or found.stage == "act":
            yield from _removal(found, picture)


def _hypothesis(found: TraceStanding, picture: Picture) -> Iterator[Advice]:
    name = found.parameter
    is_act = found.stage == "act"
    rank = RANK_ACT if is_act else RANK_WATCH
    if not found.confirmed:
        yield Advice(
            remedy="test_new_water",
            parameter=name,
            text=f"Test the new water and the salt for {name}: one result "
            f"({found.value:.3g} ug/L) is only a hypothesis.",
            due_on=picture.due(RETEST_ACT_DAYS if is_act else RETEST_WATCH_DAYS),
            rank=rank,
            figures={"value_ug_per_l": found.value, "watch_ug_per_l": found.watch},
        )
    yield Advice(
        remedy="retest",
        parameter=name,
        text=f"Send another sample for {name} "
        f"{'to see it fall' if found.confirmed else 'to confirm or refute it'}.",
        due_on=picture.due(RETEST_ACT_DAYS if is_act else RETEST_WATCH_DAYS),
        rank=rank + 1,
    )


def _removal(found: TraceStanding, picture: Picture) -> Iterator[Advice]:
    name = found.parameter
    rank = RANK_ACT if found.stage == "act" else RANK_WATCH
    if name in CORRODING and found.confirmed:
        yield Advice(
            remedy="find_corroding_part",
            parameter=name,
            text=f"Look for a corroding part that gives off {name}: {found.sources}.",
            due_on=picture.today,
            rank=rank + 2,
        )
    level = max(found.value, found.at_most)
    plan = changing(name, level, found.watch, picture)
    yield Advice(
        remedy="water_change",
        parameter=name,
        text=f"Bring {name} from {level:.3g} below {found.watch:.3g} ug/L: "
        f"{plan.words}.",
        due_on=picture.due(1.0),
        rank=rank + 3,
        figures={
            "changes": plan.count,
            "fraction": plan.fraction,
            "litres_each": plan.litres,
            "new_water_ug_per_l": plan.new_level,
            "reached_ug_per_l": plan.reached,
        },
    )
    if name in RESIN_METALS:
        yield _resin(found, picture, rank + 4)


def _resin(found: TraceStanding, picture: Picture, rank: int) -> Advice:
    fall = max(found.value, found.at_most) - found.watch
    low, high = (
        resin_ml(found.parameter, fall, picture.litres, capacity).medium
        for capacity in reversed(RESIN_MMOL_PER_ML)
    )
    return Advice(
        remedy="metal_resin",
        parameter=found.parameter,
        text=f"Metal-binding resin for {found.parameter}: {low:.2g} to {high:.2g} mL "
        "would hold it (capacity from memory), so that flow and contact are the limit; "
        "it also strips iron, manganese and zinc. Activated carbon takes organically "
        "bound metal only: do not count on it.",
        due_on=picture.due(2.0),
        rank=rank,
        figures={"fall_ug_per_l": fall, "least_ml": low, "most_ml": high},
    )
