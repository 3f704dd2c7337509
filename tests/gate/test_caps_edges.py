"""Caps, bases and rises at their very edges, each figure worked by hand."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.state import Flow
from slackwater.facts.tank import EffectCap, Outside, Uptake
from slackwater.gate.acidity import rise_after, rise_per_hour
from slackwater.gate.caps import over_caps
from slackwater.gate.moment import Moment
from slackwater.gate.resuming import WHOLE
from slackwater.gate.shortening import line_base_ppm
from tests.gate.scene import (
    CALCIUM_PG_PER_UL,
    NOW,
    PROVEN_MS,
    TODAY,
    ask,
    dkh_peq,
    machine,
    moment,
)
from tests.gate.test_caps import over, with_pump

MINUTE_S = 60


@pytest.mark.parametrize(
    ("age_ms", "room"), [(0, 0.0), (DAY_MS // 2, 1.0), (DAY_MS, 2.0)]
)
def test_an_unanswered_start_uses_up_what_may_be_added_too(
    age_ms: int, room: float
) -> None:
    """2 dKH a day: none at once, half of it after half a day, all after a day."""
    used = machine()
    pump = replace(used.pumps["carbonate"], per_dose_ul=10**9, per_day_ul=10**9)
    tank = replace(
        used.tanks["reef"], caps={"alkalinity": EffectCap(gross=dkh_peq(2.0))}
    )
    at = moment(
        replace(used, pumps={**used.pumps, "carbonate": pump}, tanks={"reef": tank})
    )
    at.state.unanswered_ms = PROVEN_MS - age_ms
    per_ul = at.rules.pumps["carbonate"].adds["alkalinity"]
    most_ul = dkh_peq(room) // per_ul
    assert Code.CAP_GROSS in over(at, most_ul + 1)
    assert Code.CAP_GROSS not in over(at, most_ul)


def test_no_volume_passes_no_cap() -> None:
    """Each of them says so: an hour, what it adds, a run into a cylinder."""
    at = with_pump(per_hour_ul=1500)
    codes = over(at, 0)
    assert {Code.CAP_DOSE, Code.CAP_HOUR, Code.CAP_GROSS} <= set(codes)
    assert Code.CAP_CALIBRATION in over(at, 0, kind="calibrate")


def test_the_smallest_effect_there_is_may_be_added() -> None:
    """One pico-unit of a microlitre is within any cap of one."""
    used = machine()
    weak = replace(used.solutions["carbonate"], effects={"alkalinity": 1})
    tank = replace(used.tanks["reef"], caps={"alkalinity": EffectCap(gross=1)})
    at = moment(
        replace(
            used, solutions={**used.solutions, "carbonate": weak}, tanks={"reef": tank}
        )
    )
    assert [] == over(at, 1)
    assert [Code.CAP_GROSS] == over(at, 2)


def test_what_has_no_cap_has_one_of_nothing() -> None:
    """And it is told as that."""
    used = machine()
    bare = replace(used.tanks["reef"], caps={})
    at = moment(replace(used, tanks={"reef": bare}))
    (reason,) = over_caps(at, ask(at), 1, TODAY)
    assert (Code.CAP_GROSS, 0) == (reason.code, reason.figures["cap"])


PLANNED = 48_000 * CALCIUM_PG_PER_UL


@pytest.mark.parametrize(
    ("low", "outside", "expected"),
    [
        (PLANNED, 0, 800_000),
        (PLANNED // 2, 0, 500_000),
        (PLANNED, PLANNED // 4, 550_000),
        (PLANNED, PLANNED, 0),
    ],
)
def test_the_base_of_calcium_is_what_is_used_less_what_comes_by_itself(
    low: int, outside: int, expected: int
) -> None:
    """Four fifths of an uptake of the whole plan, or its lower bound (mass balance)."""
    used = machine()
    tank = replace(
        used.tanks["reef"], uptake={"calcium": Uptake(estimate=PLANNED, low=low)}
    )
    source = Outside(id="kalk", tank="reef", parameter="calcium", per_day=outside)
    sources = (source,) if outside else ()
    at = moment(replace(used, tanks={"reef": tank}, outside=sources))
    line = replace(at.rules.lines["reef/calcium"], follows_alkalinity=False)
    share = line_base_ppm(at, at.rules.pumps["calcium"], line)
    assert pytest.approx(expected, abs=2) == share
    assert share <= WHOLE


def acid(*pairs: tuple[float, float]) -> list[Reading]:
    """Readings of pH by (age in seconds, value), oldest first."""
    return [
        Reading(
            tank="reef",
            probe="ph",
            parameter="ph",
            value=value,
            at=NOW - timedelta(seconds=age_s),
        )
        for age_s, value in sorted(pairs, reverse=True)
    ]


def ran(seconds_ago: float) -> Moment:
    """The last drop of the carbonate pump so long ago."""
    at = moment()
    at.state.flows["carbonate"] = Flow(
        tank="reef",
        solution="carbonate",
        end_ms=PROVEN_MS - round(1000 * seconds_ago),
    )
    return at


def test_a_rise_after_a_dose_begins_before_it_can_have_begun() -> None:
    """60 s of the longest run and 8 s of its deadline before the last drop."""
    at = ran(0.0)
    series = acid((69.0, 8.0), (60.0, 8.2), (0.0, 8.3))
    found = rise_after(at, at.rules.pumps["carbonate"], series)
    assert pytest.approx(0.3) == found


@pytest.mark.parametrize(
    ("ages_min", "expected"),
    [
        ((0, 5, 60, 65), 0.4),
        ((0, 5, 59, 65), None),
        ((0, 5, 60, 90), None),
        ((0, 29, 60, 89), 0.4),
        ((0, 30, 60, 65), None),
    ],
)
def test_a_rise_of_an_hour_is_between_two_half_hours(
    ages_min: tuple[float, ...], expected: float | None
) -> None:
    """The last one, and one from an hour and a half ago on; two readings each."""
    values = (8.5, 8.5, 8.1, 8.1)
    series = acid(
        *((MINUTE_S * age, value) for age, value in zip(ages_min, values, strict=True))
    )
    found = rise_per_hour(series, moment())
    assert expected == (None if found is None else round(found, 6))
