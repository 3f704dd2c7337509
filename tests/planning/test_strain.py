"""Plans against what nodes and reservoirs can take (H47)."""

from dataclasses import replace
from datetime import timedelta

from slackwater.errors import Finding
from slackwater.facts.relays import Relay
from slackwater.facts.tank import Machine, Outside, Reservoir
from slackwater.planning.ceilings import check
from slackwater.planning.strain import cautions, late_starts, too_many_pulses
from slackwater.planning.timetable import Timetable
from tests.planning.plans import STARTS, line, machine, plan, timed, with_node


def slow_node(run_limit_ms: int = 600_000) -> Machine:
    """A machine in UTC whose node may run for ten minutes."""
    return with_node(machine("UTC"), cut_limit_ms=run_limit_ms)


def test_h47_a_node_that_cannot_get_round_to_a_dose_is_refused() -> None:
    """Three runs of ten minutes at once: the third would begin 20 minutes late."""
    # Hourly doses may be 15 minutes late; 600 mL run for ten minutes.
    busy = plan(
        line("calcium", 14_400_000), line("magnesium", 14_400_000), line("trace", 4_800)
    )

    assert [
        Finding(
            what="reef/trace@2026-01-05#01 would wait more than 900 s for other doses "
            "of shelf-reef",
            where="line reef/trace",
            expected="run times that the node can fit in one after another",
            do="Give fewer doses, set other windows, or drive the pumps by two nodes.",
        )
    ] == check(busy, slow_node())


def test_h47_two_tanks_on_one_node_are_looked_at_where_they_meet() -> None:
    """Each tenth day for ten minutes, and each seventh, but not on the first.

    Both count from the plan's start: they meet on day 70, the least multiple of both,
    which stands for nothing new of either tank alone.
    """
    apart = with_node(machine("UTC", other_zone="UTC"), cut_limit_ms=600_000)
    both = timed(apart, lateness_s=60.0)
    served = replace(both.pumps["trace-lagoon"], node="shelf-reef")
    meeting = plan(
        line("calcium", 600_000, 1, every_days=10, times_minute=(720,)),
        line(
            "trace",
            200,
            1,
            tank="lagoon",
            every_days=7,
            times_minute=(720,),
            first_day=STARTS + timedelta(days=2),
        ),
    )
    shared = replace(both, pumps={**both.pumps, served.id: served})
    (found,) = check(meeting, shared)
    assert found.where == "line lagoon/trace"
    assert found.what.startswith(f"lagoon/trace@{STARTS + timedelta(days=70)}#01")
    assert [] == check(meeting, both)


def test_h47_doses_that_wait_a_little_are_fine() -> None:
    """Two runs of five minutes at once leave the third in time."""
    busy = plan(
        line("calcium", 7_200_000), line("magnesium", 7_200_000), line("trace", 4_800)
    )

    assert check(busy, slow_node()) == []


def test_h47_a_dose_may_wait_up_to_its_latest_start() -> None:
    """Two runs of 450 s: the third begins 900 s late, a quarter of its hour."""
    busy, late = (
        plan(
            line("calcium", 10_800_000),
            line("magnesium", 10_800_000 + more_ul),
            line("trace", 4_800),
        )
        for more_ul in (0, 24)
    )

    assert check(busy, slow_node()) == []
    (found,) = late_starts(Timetable(late, slow_node()))
    assert found.what.startswith("reef/trace@2026-01-05#01 would wait")


def test_h47_the_last_hours_of_a_day_far_in_the_west_are_looked_at() -> None:
    """Twelve hours behind UTC, 20:00 comes on the next day of UTC.

    Source: IANA tz database, Etc/GMT+12 is 12 hours behind, all year.
    """
    busy = plan(
        *(
            line(solution, per_day_ul, 1, times_minute=(1200,), last_day=STARTS)
            for solution, per_day_ul in (("calcium", 600_000), ("trace", 200))
        )
    )
    west = with_node(machine("Etc/GMT+12"), cut_limit_ms=600_000)
    hasty = timed(west, lateness_s=60.0)

    (found,) = late_starts(Timetable(busy, hasty))
    assert found.what.startswith("reef/trace@2026-01-05#01 would wait")


def test_h47_another_node_does_not_wait() -> None:
    """The same doses on two nodes run side by side."""
    made = slow_node()
    apart = replace(
        made,
        pumps={
            **made.pumps,
            "magnesium-reef": replace(
                made.pumps["magnesium-reef"], node="shelf-lagoon"
            ),
        },
    )
    busy = plan(
        line("calcium", 14_400_000), line("magnesium", 14_400_000), line("trace", 4_800)
    )

    assert check(busy, with_node(apart, "shelf-lagoon", cut_limit_ms=600_000)) == []


def test_each_node_is_named_once() -> None:
    """A plan that is late every day says so once for each node."""
    busy = plan(
        line("calcium", 14_400_000), line("magnesium", 14_400_000), line("trace", 4_800)
    )

    assert len(list(late_starts(Timetable(busy, slow_node())))) == 1


def test_an_old_doser_of_a_line_that_is_not_planned_is_a_caution() -> None:
    """Its line is misspelt: it counts for ever, and nobody could take it over."""
    old = Outside(
        id="old-calcium", tank="reef", parameter="calcium", per_day=1, line="calcum"
    )
    top_off = replace(old, id="top-off", line="")
    right = replace(old, id="right", line="calcium")
    beside = replace(machine(), outside=(old, top_off, right))

    assert [
        Finding(
            what="no line of the plan is reef/calcum, so this old doser counts every "
            "day and cannot be taken over",
            where="outside old-calcium",
            expected="a line calcum for reef in the plan",
            do="Mend the name, add the line, or take the source out once the old "
            "doser is off.",
        )
    ] == cautions(plan(line("calcium")), beside)


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
            what="the plan draws 5.001 mL on one day",
            where="reservoir carbonate",
            expected="at most 5 mL, what it holds",
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
            "of 1 mL",
            where="line reef/carbonate",
            expected="a day limit of 24 mL or more",
            do="Give more, smaller doses, or raise the day limit of the node.",
        )
    ] == cautions(asked, with_node(machine(), day_limit_ul=23_999))


def behind_a_relay() -> Machine:
    """The reef's pumps on a timed relay instead of a node; in UTC."""
    relay = Relay(
        on_topic="shelf/on",
        on_payload="{ms}",
        off_topic="shelf/off",
        off_payload="0",
        state_topic="shelf/state",
    )
    made = machine("UTC")
    node = replace(made.nodes["shelf-reef"], relay=relay)
    return replace(made, nodes={**made.nodes, "shelf-reef": node})


def test_a_relay_takes_24_pulses_a_day_and_no_more() -> None:
    """Over all lines of a pump; a node that counts by itself takes any number."""
    asked = plan(line(count=20), line(count=5, id="more"))
    fits = plan(line(count=20), line(count=4, id="more"))

    assert [
        Finding(
            what="25 doses a day of carbonate-reef are pulses of the relay shelf-reef",
            where="pump carbonate-reef",
            expected="at most 24 pulses a day",
            do="Give fewer, larger doses, or drive the pump by a node.",
        )
    ] == list(too_many_pulses(asked, behind_a_relay()))
    assert [] == list(too_many_pulses(fits, behind_a_relay()))
    assert [] == list(too_many_pulses(asked, machine("UTC")))


def test_a_pump_behind_a_relay_is_a_caution_of_its_own() -> None:
    """Reduced assurance is told once for each such pump, and for no other."""
    asked = plan(line(count=2), line("calcium", tank="lagoon"))

    (found,) = cautions(asked, behind_a_relay())

    assert "carbonate-reef hangs on the timed relay shelf-reef: reduced assurance" == (
        found.what
    )
    assert "pump carbonate-reef" == found.where
    assert "slackwater check-relay shelf-reef" in found.do
