"""An alarm that stands keeps the last dose: it may fall, and does not rise.

Precondition of a changed dose: no open alarm; common practice, no source.
"""

from dataclasses import replace

import pytest

from slackwater.assessment.evidence import evidence_of
from slackwater.assessment.records import Assessment, Notice, Weight
from slackwater.facts.proposal import Ground
from tests.assessment.past import NOW, machine
from tests.assessment.pictures import stands
from tests.assessment.reefs import change, grounds, known, line, plan, proposed
from tests.assessment.reefs import machine as reef

WHY = "Salinity is dangerously low at 31.00 PSU."
PRESENT = plan(line("carbonate", 42_000))


def told(weight: Weight) -> Assessment:
    """An assessment in which salinity was looked at."""
    notice = Notice(
        code="level-too-low", weight=weight, parameter="salinity", text=WHY[:-1]
    )
    level = stands("alkalinity", 2.9)
    return Assessment(
        tank="reef", at=NOW, notices=(notice,), standings={"alkalinity": level}
    )


@pytest.mark.parametrize(
    ("weight", "no_rise"),
    [("alarm", (Ground.BLOCKED,)), ("warning", ()), ("note", ())],
)
def test_only_an_alarm_keeps_a_dose_where_it_is(
    weight: Weight, no_rise: tuple[Ground, ...]
) -> None:
    """Of whatever it speaks: the whole tank waits until it is over."""
    found = evidence_of(told(weight), machine().tanks["reef"])["alkalinity"]
    assert no_rise == found.no_rise
    assert ((WHY,) if no_rise else ()) == found.why


def test_a_dose_does_not_rise_while_an_alarm_stands_and_says_why() -> None:
    """An uptake of 0.6 where 0.42 is given: without the alarm 60 mL."""
    more = known("alkalinity", 0.6, 0.01)
    held = replace(more, no_rise=(Ground.BLOCKED,), why=(WHY,))
    assert 60_000 == change(proposed(reef(), PRESENT, more), "carbonate").after_ul
    found = proposed(reef(), PRESENT, held)
    assert found.is_none
    told_why, *_ = change(found, "carbonate").grounds
    assert (Ground.BLOCKED, WHY) == (told_why.ground, told_why.figures["why"])


def test_a_dose_falls_while_an_alarm_stands() -> None:
    """Less is used up than is given: that is no reason to go on with it."""
    less = known("alkalinity", 0.2, 0.01, no_rise=(Ground.BLOCKED,), why=(WHY,))
    found = proposed(reef(), PRESENT, less)
    assert 20_000 == change(found, "carbonate").after_ul
    assert Ground.UPTAKE in grounds(found, "carbonate")
