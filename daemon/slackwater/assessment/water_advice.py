"""What to do about salinity, nutrients and what was put into the water.

Floor 3. One subject: remedies for the water as a whole. Laws here: nothing moves faster
than animals bear; a low nutrient counts when two tests say so; every capacity carries
its range.
Source: limits and capacities are common practice or from memory and say so.
"""

from collections.abc import Iterator
from datetime import timedelta
from math import ceil

from slackwater.assessment.blocks import SALINITY_TASK_OFF
from slackwater.assessment.changing import changing, new_water
from slackwater.assessment.picture import Picture
from slackwater.assessment.practice import SALINITY
from slackwater.assessment.records import Advice, Band, Standing
from slackwater.water.nutrients import (
    CARBON_CAP,
    CARBON_HOTTEST_CELSIUS,
    CARBON_LEAST_NITRATE,
    CARBON_LEAST_PHOSPHATE,
    CARBON_STEP_A_WEEK,
)
from slackwater.water.removal import (
    ADSORBENT_MG_P_PER_GRAM,
    adsorbent_grams,
    weekly_steps,
)
from slackwater.water.show import show_figure, show_level

RANK_SALINITY = 20
RANK_STARVING = 40
RANK_RICH = 75
RANK_LOW = 60
RANK_AFTERWARDS = 90
MOST_SALINITY_A_DAY = 0.3
# One low test is no news.
TWICE = 2
# Above these, mg/L, water changes and media are worth their trouble.
RICH = {"nitrate": 40.0, "phosphate": 0.3}
# Of a level, what it may fall in a week; water changes are exempt.
MOST_FALL_A_WEEK = {"nitrate": 0.20, "phosphate": 0.30}
# A refugium worth having, of the system volume.
REFUGIUM_SHARE = (0.10, 0.20)
TREATED_WITHIN = timedelta(days=14)
CHANGED_WITHIN = timedelta(days=30)


def water_advice(picture: Picture) -> Iterator[Advice]:
    """The remedies for the water as a whole."""
    yield from _salinity(picture)
    for parameter, rich in RICH.items():
        found = picture.standings.get(parameter)
        level = picture.fresh(parameter)
        if found is None or level is None:
            continue
        yield from _low(found, picture)
        if level > rich:
            yield from _rich(parameter, level, picture)
        elif found.band is not None and level > _most(found, found.band):
            yield _rather_rich(found, _most(found, found.band), picture)
    yield from _afterwards(picture)


def _salinity(picture: Picture) -> Iterator[Advice]:
    off = picture.salinity_off
    level = picture.fresh(SALINITY)
    if off is None or level is None or abs(off) <= SALINITY_TASK_OFF:
        return
    days = ceil(abs(off) / MOST_SALINITY_A_DAY - 1e-9)
    step = off / days
    # What one day's step takes off as tank water and gives back fresh, or in reverse.
    litres = abs(step) / level * picture.litres
    how = (
        f"replace {litres:.1f} L of tank water by fresh water a day"
        if off > 0
        else "top off with salt water instead of fresh until it is there"
    )
    yield Advice(
        remedy="correct_salinity",
        parameter=SALINITY,
        text=f"Bring salinity from {level:.2f} to {level - off:.2f} over {days} days "
        f"(at most {MOST_SALINITY_A_DAY:g} a day): {how}. Check the instrument on a "
        "standard first.",
        due_on=picture.today,
        rank=RANK_SALINITY,
        figures={"off": off, "days": days, "litres_a_day": litres},
    )


def _low(found: Standing, picture: Picture) -> Iterator[Advice]:
    name, band = found.parameter, found.band
    newest = [
        point
        for series in picture.series.get(name, ())
        if (series.provenance, series.method) == (found.provenance, found.method)
        for point in series.points
        if point.use == "used"
    ][-TWICE:]
    if band is None or len(newest) < TWICE or any(p.value >= band.low for p in newest):
        return
    yield Advice(
        remedy="other",
        parameter=name,
        text=f"{name.capitalize()} was below {show_level(name, band.low)} twice: take "
        "off adsorbents and carbon sources, feed more, or dose it slowly.",
        due_on=picture.today,
        rank=RANK_STARVING if name == "phosphate" else RANK_LOW,
        figures={"newest": newest[-1].value, "before": newest[0].value},
    )


def _rich(parameter: str, level: float, picture: Picture) -> Iterator[Advice]:
    band = picture.standings[parameter].band
    target = RICH[parameter] if band is None else band.high
    fall = MOST_FALL_A_WEEK[parameter]
    weeks = weekly_steps(level, target, fall)
    low, high = (share * picture.litres for share in REFUGIUM_SHARE)
    pace = f"at most {100 * fall:.0f} % a week, so over {weeks} weeks"
    yield Advice(
        remedy="export_nutrients",
        parameter=parameter,
        text=f"Bring {parameter} from {show_level(parameter, level)} to "
        f"{show_level(parameter, target)}, {pace}: feed less, and a refugium of "
        f"{show_figure(low, 2)} to {show_figure(high, 2)} L (10 to 20 % of the system; "
        "common practice).",
        due_on=picture.due(7.0),
        rank=RANK_RICH,
        figures={"weeks": weeks, "refugium_least_l": low, "refugium_most_l": high},
    )
    plan = changing(parameter, level, target, picture)
    yield Advice(
        remedy="water_change",
        parameter=parameter,
        text=f"Water changes against {parameter}: {plan.words}. They may go faster "
        "than the rate of a week, and one series serves all that is too high.",
        due_on=picture.due(7.0),
        rank=RANK_RICH + 1,
        figures={
            "changes": plan.count,
            "fraction": plan.fraction,
            "litres_each": plan.litres,
            "reached": plan.reached,
        },
    )
    if parameter == "phosphate":
        yield _adsorbent(level, target, picture)


def _most(found: Standing, band: Band) -> float:
    """The upper end of the band, or the target where a person wants more."""
    return max(band.high, found.target or 0.0)


def _rather_rich(found: Standing, most: float, picture: Picture) -> Advice:
    """Too much, and yet no case for large exports: the mild means, one at a time."""
    name, level = found.parameter, found.level or 0.0
    return Advice(
        remedy="export_nutrients",
        parameter=name,
        text=f"{name.capitalize()} is high at {show_level(name, level)}: bring it to "
        f"{show_level(name, most)} by at most {100 * MOST_FALL_A_WEEK[name]:.0f} % a "
        "week. Feed less and change water first. A carbon source begins at "
        f"{CARBON_STEP_A_WEEK:g} mmol C/L a day, goes up by as much a week to "
        f"{CARBON_CAP:g} at most, and ends below "
        f"{show_level('nitrate', CARBON_LEAST_NITRATE)} nitrate, below "
        f"{show_level('phosphate', CARBON_LEAST_PHOSPHATE)} phosphate and above "
        f"{CARBON_HOTTEST_CELSIUS:g} degC (common practice).",
        due_on=picture.due(7.0),
        rank=RANK_RICH,
        figures={
            "weeks": weekly_steps(level, most, MOST_FALL_A_WEEK[name]),
            "level": level,
            "most": most,
        },
    )


def _adsorbent(level: float, target: float, picture: Picture) -> Advice:
    weak, strong = ADSORBENT_MG_P_PER_GRAM
    fall = level - target
    least = adsorbent_grams(fall, picture.litres, strong).medium
    most = adsorbent_grams(fall, picture.litres, weak).medium
    # As if it were the strongest there is, so that the first week cannot go too far.
    week = min(level * MOST_FALL_A_WEEK["phosphate"], fall)
    first = adsorbent_grams(week, picture.litres, strong).medium
    return Advice(
        remedy="adsorbent",
        parameter="phosphate",
        text=f"Phosphate adsorbent {show_figure(least, 2)} to {show_figure(most, 2)} g "
        f"in all (1 to 5 mg P a gram, from memory), begin with {show_figure(first, 2)} "
        "g and let phosphate fall at most 30 % a week; rock gives back for weeks, so "
        "repeat. Iron media also bind carbonate, arsenic and silicon; alumina can "
        "raise aluminium.",
        due_on=picture.due(7.0),
        rank=RANK_RICH + 2,
        figures={"least_g": least, "most_g": most, "first_g": first},
    )


def _afterwards(picture: Picture) -> Iterator[Advice]:
    treated = [
        one
        for one in picture.history.happenings
        if one.what == "treatment" and one.happened_at >= picture.now - TREATED_WITHIN
    ]
    if treated:
        yield Advice(
            remedy="activated_carbon",
            parameter="",
            text="After the treatment of "
            f"{picture.day(treated[-1].happened_at)}, when its course is over: "
            "activated carbon takes up organics; renew it after a week.",
            due_on=picture.day(treated[-1].happened_at + TREATED_WITHIN),
            rank=RANK_AFTERWARDS,
        )
    changed = [
        one
        for one in picture.history.changes
        if one.changed_at >= picture.now - CHANGED_WITHIN
    ]
    if changed and not new_water(picture):
        yield Advice(
            remedy="test_new_water",
            parameter="",
            text="Test a batch of new water for alkalinity, calcium and magnesium: "
            "water changes move them by an unknown amount.",
            due_on=picture.due(14.0),
            rank=RANK_AFTERWARDS + 1,
        )
