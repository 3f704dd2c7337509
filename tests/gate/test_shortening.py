"""How far a dose is shortened: the base, the way back, and whole smallest doses."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.facts.plan import Plan, PlanLine, Weekday
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Outside, Uptake
from slackwater.gate.moment import Moment, rules_for
from slackwater.gate.resuming import WHOLE, resume_ppm
from slackwater.gate.shortening import base_ppm, share_of, thin
from slackwater.gate.verdict import Granted, Refused, may_dose
from tests.gate.scene import (
    CARBONATE_PEQ_PER_UL,
    NOW,
    TODAY,
    ask,
    dkh_peq,
    machine,
    moment,
    plan,
    probed,
    with_probe,
)

PLAN_PEQ = 48_000 * CARBONATE_PEQ_PER_UL


def with_uptake(*, estimate: float, low: float, at: Moment | None = None) -> Moment:
    """A probed scene in which the probe is silent, with this uptake in dKH a day."""
    used = at.machine if at else probed()
    uptake = Uptake(estimate=dkh_peq(estimate), low=dkh_peq(low))
    tank = replace(used.tanks["reef"], uptake={"alkalinity": uptake})
    return moment(replace(used, tanks={"reef": tank}))


def base(at: Moment, line: str = "reef/carbonate") -> int:
    """The share of the base for one line."""
    return base_ppm(at, "reef", at.rules.lines[line])


@pytest.mark.parametrize(
    ("estimate", "low", "base_dkh"), [(1.0, 0.9, 0.8), (1.0, 0.7, 0.7), (1.0, 0.0, 0.0)]
)
def test_the_base_is_four_fifths_or_the_lower_bound(
    estimate: float, low: float, base_dkh: float
) -> None:
    """Design law: 0.8 of the estimated uptake, or its lower bound if smaller."""
    expected = dkh_peq(base_dkh) * WHOLE // PLAN_PEQ
    assert pytest.approx(expected, abs=1) == base(
        with_uptake(estimate=estimate, low=low)
    )


def test_the_base_is_never_more_than_the_plan() -> None:
    """An uptake of twice the plan raises nothing."""
    assert WHOLE == base(with_uptake(estimate=3.0, low=2.5))


def test_without_a_known_uptake_the_base_is_four_fifths_of_the_plan() -> None:
    """A share of 0.8 for every line."""
    tank = replace(machine().tanks["reef"], uptake={})
    at = moment(replace(probed(), tanks={"reef": tank}))
    assert 800_000 == base(at)


def test_what_comes_from_outside_is_taken_off_the_base() -> None:
    """Limewater of 0.3 dKH a day leaves 0.5 of 0.8; more than the base leaves none."""
    bases = []
    for per_day in (0.3, 0.9):
        source = Outside(
            id="top-off", tank="reef", parameter="alkalinity", per_day=dkh_peq(per_day)
        )
        used = replace(probed(), outside=(source,))
        bases.append(base(with_uptake(estimate=1.0, low=0.9, at=moment(used))))
    expected = (dkh_peq(0.8) - dkh_peq(0.3)) * WHOLE // PLAN_PEQ
    assert [expected, 0] == bases


def test_a_correction_needs_sound_evidence() -> None:
    """While the water is in doubt only what is taken up is replaced."""
    lines = (plan().lines[0], replace(plan().lines[1], purpose="correction"))
    at = replace(moment(probed()), rules=rules_for(probed(), _plan(lines)))
    assert 0 == base(at, "reef/calcium")
    verdict = may_dose(at, ask(at, "calcium"), TODAY)
    assert isinstance(verdict, Refused)
    assert (True, [Code.ALKALINITY_MISSING, Code.TOO_SMALL]) == (
        verdict.final,
        [reason.code for reason in verdict.reasons],
    )


def _plan(lines: tuple[PlanLine, ...]) -> Plan:
    return replace(plan(), lines=lines)


def test_a_correction_is_no_part_of_what_the_base_is_measured_by() -> None:
    """Maintenance alone stands for the uptake; all lines for what is planned a day."""
    extra = replace(plan().lines[0], id="more", purpose="correction", per_day_ul=12_000)
    rules = rules_for(machine(), _plan((*plan().lines, extra)))
    all_peq = 60_000 * CARBONATE_PEQ_PER_UL
    assert (PLAN_PEQ, all_peq) == rules.alkalinity["reef"]


@pytest.mark.parametrize(
    ("every_days", "weekdays", "mean_ul"),
    [(1, (), 48_000), (3, (), 16_000), (1, ("mon", "thu"), 13_714)],
)
def test_a_line_that_rests_counts_with_its_mean(
    every_days: int, weekdays: tuple[Weekday, ...], mean_ul: int
) -> None:
    """Every third day a third, on two days of the week two sevenths."""
    line = replace(plan().lines[0], every_days=every_days, weekdays=weekdays)
    rules = rules_for(machine(), _plan((line,)))
    assert mean_ul == rules.alkalinity["reef"][0] // CARBONATE_PEQ_PER_UL


def test_lines_of_other_pumps_and_tanks_add_no_alkalinity() -> None:
    """A line whose pump is gone, or whose tank is another, counts as nothing."""
    line = plan().lines[0]
    lines = (replace(line, pump="gone"), replace(line, id="frag", tank="frag"))
    assert (0, 0) == rules_for(machine(), _plan(lines)).alkalinity["reef"]


def test_a_line_apart_from_alkalinity_is_left_whole() -> None:
    """Calcium outside the group does not wait for an alkalinity probe."""
    lines = (plan().lines[0], replace(plan().lines[1], group=""))
    at = replace(moment(probed()), rules=rules_for(probed(), _plan(lines)))
    assert (WHOLE, ()) == (
        share_of(at, ask(at, "calcium")).ppm,
        share_of(at, ask(at, "calcium")).reasons,
    )


def test_a_dose_of_no_line_is_not_shortened() -> None:
    """A shot into a cylinder is as long as it was asked for."""
    at = moment(probed())
    assert WHOLE == share_of(at, replace(ask(at), line=None)).ppm


def test_coming_back_and_doubt_take_the_smaller_share() -> None:
    """Both reasons are given, with the share of the way back."""
    at = moment(probed())
    at.state.stage_since = NOW - timedelta(days=4)
    at.state.resuming["reef"] = 0
    share = share_of(at, ask(at))
    back = resume_ppm(at, "reef")
    assert min(back, base(at)) == share.ppm < WHOLE
    assert [Code.ALKALINITY_MISSING, Code.RESUMING] == [r.code for r in share.reasons]
    assert {"share_percent": back // 10_000} == share.reasons[1].figures


@pytest.mark.parametrize(
    ("ppm", "ordinal", "expected_ul"),
    [
        (500_000, 1, 1000),
        (150_000, 1, 300),
        (149_999, 1, 0),
        (100_000, 1, 0),
        (100_000, 2, 300),
        (100_000, 3, 300),
        (100_000, 4, 0),
        (0, 7, 0),
    ],
)
def test_below_the_smallest_dose_whole_ones_take_turns(
    ppm: int, ordinal: int, expected_ul: int
) -> None:
    """2000 µL shortened; a tenth is 200, given as 300 in two of three turns."""
    assert expected_ul == thin(2000, ppm, ordinal, 300)


def test_a_dose_smaller_than_the_smallest_is_never_made_larger() -> None:
    """Whatever the turn, a shortened dose stays below the planned one."""
    assert [0] * 10 == [thin(200, 900_000, ordinal, 300) for ordinal in range(1, 11)]


@given(
    st.integers(1, 5000), st.integers(0, WHOLE), st.integers(1, 48), st.integers(1, 600)
)
def test_a_day_of_shortened_doses_stays_within_its_share(
    volume_ul: int, ppm: int, count: int, smallest_ul: int
) -> None:
    """Nothing is carried over, and no dose is above the planned one."""
    given_ul = [thin(volume_ul, ppm, n, smallest_ul) for n in range(1, count + 1)]
    assert sum(given_ul) * WHOLE <= count * volume_ul * ppm
    assert all(0 <= dose_ul <= volume_ul for dose_ul in given_ul)


def test_a_shortened_dose_says_why_and_a_whole_one_nothing() -> None:
    """Reasons of a granted dose are those of its shortening."""
    at = with_uptake(estimate=1.0, low=0.9)
    verdict = may_dose(at, ask(at), TODAY)
    assert isinstance(verdict, Granted)
    assert [Code.ALKALINITY_MISSING] == [reason.code for reason in verdict.reasons]
    plenty = with_uptake(estimate=3.0, low=2.5)
    whole = may_dose(plenty, ask(plenty), TODAY)
    assert isinstance(whole, Granted)
    assert (2000, ()) == (whole.volume_ul, whole.reasons)


def test_after_the_configured_time_nine_tenths_of_the_base_remain() -> None:
    """The base for 14 days after the last reading, then less, and never nothing."""
    at = moment(probed())
    with_probe(at, [8.2])
    shares = []
    for days in (13, 15):
        later = replace(at, now=replace(at.now, utc=NOW + timedelta(days=days)))
        shares.append(share_of(later, ask(later)).ppm)
    base_share = base(at)
    assert [base_share, base_share * 90 // 100] == shares
