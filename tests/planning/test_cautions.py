"""What a keeper hears about a plan that is allowed."""

from dataclasses import replace

from slackwater.errors import Finding
from slackwater.facts.tank import Reservoir
from slackwater.planning.cautions import cautions
from slackwater.planning.ceilings import check
from tests.planning.plans import line, machine, plan, with_node


def test_a_plan_with_room_has_no_cautions() -> None:
    """Nothing is said where there is nothing to say."""
    assert cautions(plan(line()), machine()) == []


def test_h47_a_day_larger_than_its_reservoir_is_a_caution_and_no_refusal() -> None:
    """Two tanks draw from one bottle; at its content nothing is said."""
    asked = plan(
        line(per_day_ul=3_000, count=3), line(per_day_ul=2_001, count=1, tank="lagoon")
    )
    made = machine()
    full, short = (
        replace(
            made,
            reservoirs={
                **made.reservoirs,
                "carbonate": Reservoir(id="carbonate", content_ul=content_ul),
            },
        )
        for content_ul in (5_001, 5_000)
    )

    assert cautions(asked, full) == []
    assert [
        Finding(
            what="the plan draws 5001 µL on one day",
            where="reservoir carbonate",
            expected="at most 5000 µL, what it holds",
            do="Fill a larger reservoir, or expect refills within the day.",
        )
    ] == cautions(asked, short)
    assert check(asked, short) == []


def test_a_dose_a_node_cannot_give_soon_after_a_power_up_is_a_caution() -> None:
    """A twenty-fourth of the day limit comes free each hour: 24 mL for 1 mL."""
    asked = plan(line(per_day_ul=1_000, count=1))

    assert cautions(asked, with_node(machine(), day_limit_ul=24_000)) == []
    assert [
        Finding(
            what="after a power-up shelf-reef takes more than an hour to allow a dose "
            "of 1000 µL",
            where="line reef/carbonate",
            expected="a day limit of 24000 µL or more",
            do="Give more, smaller doses, or raise the day limit of the node.",
        )
    ] == cautions(asked, with_node(machine(), day_limit_ul=23_999))
