"""What came into the water, by the hour, from outside and with changes."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.assessment.inflow import (
    Exchange,
    Inflow,
    day_of,
    inflows,
    outside_per_day,
    stated_uptake,
)
from slackwater.facts.history import Delivery
from slackwater.water.water_changes import step_of_change
from tests.assessment.past import (
    DKH,
    NOW,
    ago,
    change,
    deliveries,
    history,
    machine,
    pico,
)

DAY = day_of(NOW)


def came(parameter: str = "alkalinity", **parts: object) -> Inflow:
    """The inflow of one parameter over 30 days."""
    past = history(**parts)
    return inflows(past, machine(), [parameter], since=ago(30), now=NOW)[parameter]


def test_what_is_delivered_adds_up_by_the_hour() -> None:
    """1.2 dKH a day for ten days; half an hour is half of its hour."""
    inflow = came(deliveries=deliveries({"alkalinity": 1.2 * DKH}, 10))
    assert 1.2 * DKH == pytest.approx(inflow.delivered(DAY - 3, DAY - 2))
    assert 0.05 * DKH / 2 == pytest.approx(inflow.delivered(DAY - 1, DAY - 1 + 1 / 48))
    assert 0 == inflow.delivered(DAY - 20, DAY - 11)


def test_what_came_before_or_after_the_window_is_not_read() -> None:
    """Deliveries of 40 days, of which 30 are asked for, and none from ahead."""
    found = deliveries({"alkalinity": DKH}, 40)
    late = replace(found[-1], at=ago(-1))
    inflow = came(deliveries=(*found, late))
    assert 30 * DKH == pytest.approx(inflow.delivered(DAY - 50, DAY + 5), rel=1e-2)


def test_declared_sources_run_all_the_time() -> None:
    """0.4 dKH a day of limewater, in two entries."""
    made = machine(outside={"alkalinity": 0.4 * DKH})
    made = replace(made, outside=(*made.outside, replace(made.outside[0], id="other")))
    inflow = inflows(history(), made, ["alkalinity"], since=ago(9), now=NOW)[
        "alkalinity"
    ]
    assert 0.8 * DKH * 2 == pytest.approx(inflow.added(DAY - 2, DAY))
    assert None is outside_per_day(made, "reef", "calcium")


def test_an_old_doser_brings_nothing_after_its_line_was_taken_over() -> None:
    """Two days of five with 0.4 dKH of it; the other source goes on as ever."""
    made = machine(outside={"alkalinity": 0.4 * DKH})
    old = replace(made.outside[0], id="old", line="carbonate")
    made = replace(made, outside=(*made.outside, old))
    past = replace(history(), taken_over={"reef/carbonate": ((ago(3), None),)})
    inflow = inflows(past, made, ["alkalinity"], since=ago(9), now=NOW)["alkalinity"]
    assert 0.4 * DKH * (5 + 2) == pytest.approx(inflow.added(DAY - 5, DAY))
    assert 0.4 * DKH * 3 == pytest.approx(inflow.added(DAY - 3, DAY))
    assert 0.4 * DKH * 2 == pytest.approx(inflow.added(DAY - 5, DAY - 4))


def test_an_old_doser_brings_nothing_while_its_line_was_ours() -> None:
    """Ours from six to four days ago, then given back: two days of six without it."""
    made = machine(outside={"alkalinity": 0.4 * DKH})
    old = replace(made.outside[0], line="carbonate")
    made = replace(made, outside=(old,))
    spans = ((ago(6), ago(4)),)
    past = replace(history(), taken_over={"reef/carbonate": spans})
    inflow = inflows(past, made, ["alkalinity"], since=ago(9), now=NOW)["alkalinity"]
    assert 0.4 * DKH * 4 == pytest.approx(inflow.added(DAY - 6, DAY))
    assert 0.4 * DKH * 1 == pytest.approx(inflow.added(DAY - 7, DAY - 5))
    assert 0.0 == pytest.approx(inflow.added(DAY - 6, DAY - 4))


def test_a_change_with_tested_water_moves_by_its_share() -> None:
    """45 of 300 L at 10 dKH into 8: as the oracle in `water.water_changes` says."""
    inflow = came(changes=(change(2, 45, {"alkalinity": 10 * DKH}),))
    (exchange,) = inflow.within(DAY - 3, DAY)
    expected = step_of_change(8 * DKH, 10 * DKH, 0.15)
    assert (expected, 0.0) == pytest.approx(exchange.moved(8 * DKH))


@pytest.mark.parametrize(
    ("exchange", "moved"),
    [
        (Exchange(day=0, share=0.1, step=0.5), (0.5, 0.075)),
        (Exchange(day=0, share=0.1), (0.0, 0.1 * 0.15 * 400)),
    ],
    ids=["foretold", "unknown"],
)
def test_untested_water_widens_the_error(
    exchange: Exchange, moved: tuple[float, float]
) -> None:
    """A foretold step is taken with an error, an unknown one not at all."""
    assert moved == pytest.approx(exchange.moved(400.0))


def test_changes_that_did_not_happen_are_left_out() -> None:
    """Superseded, called off, too early or announced for later."""
    inflow = came(
        changes=(
            change(40, 30),
            change(3, 30),
            change(2, 45, supersedes="change-3"),
            change(1, 0),
            change(-1, 30),
        )
    )
    assert [0.15] == [one.share for one in inflow.exchanges]


def test_more_than_all_of_the_water_is_all_of_it() -> None:
    """Flow-through changes can move more litres than the tank has."""
    assert 1.0 == came(changes=(change(1, 900),)).exchanges[0].share


def test_the_largest_day_is_found() -> None:
    """A day with twice the dose stands out."""
    usual = deliveries({"alkalinity": DKH}, 5)
    more = tuple(
        replace(one, amounts={"alkalinity": 2 * one.amounts["alkalinity"]})
        for one in usual[24:48]
    )
    inflow = came(deliveries=(*usual[:24], *more, *usual[48:]))
    assert 2 * DKH == pytest.approx(inflow.largest_day(DAY - 5, DAY))
    assert 1 * DKH == pytest.approx(inflow.largest_day(DAY - 0.5, DAY))


def test_a_stated_uptake_is_canonical() -> None:
    """As configured, with its lower bound; None where none is."""
    tank = machine(uptake={"calcium": (10, 8)}).tanks["reef"]
    assert (10, 8) == pytest.approx(stated_uptake(tank, "calcium"))
    assert None is stated_uptake(tank, "alkalinity")


def test_states_can_be_exchanged_and_not_delivered() -> None:
    """Salinity of new water counts, deliveries of it are never heard of."""
    inflow = came("salinity", changes=(change(1, 30, {"salinity": 30.0}),))
    assert (-0.5, 0.0) == pytest.approx(inflow.exchanges[0].moved(35.0))
    assert 0 == inflow.added(DAY - 5, DAY)


def test_what_a_hand_gave_counts_whole_from_its_moment() -> None:
    """1 dKH at once, 20 minutes after a full hour: nothing before, all of it after."""
    at = ago(1) + timedelta(minutes=20)
    spoon = Delivery(at=at, amounts={"alkalinity": pico("alkalinity", DKH)})
    inflow = came(deliveries=(replace(spoon, at_once=True),))
    moment, second = day_of(at), 1 / 86_400
    assert 0 == inflow.delivered(DAY - 3, moment)
    assert pytest.approx(DKH) == inflow.delivered(moment, moment + second)
    assert pytest.approx(DKH) == inflow.delivered(moment, DAY)
    assert (moment,) == inflow.days


def test_all_that_came_up_to_now_counts_whole() -> None:
    """An hour that is half over brought what it brought; its half is a quarter ago."""
    dose = Delivery(at=ago(1 / 48), amounts={"alkalinity": pico("alkalinity", DKH)})
    inflow = came(deliveries=(dose,))
    assert pytest.approx(DKH) == inflow.delivered(DAY - 1, DAY)
    assert pytest.approx(DKH / 2) == inflow.delivered(DAY - 1, DAY - 1 / 96)


def test_what_was_poured_in_now_counts_now() -> None:
    """Told at the moment of the assessment; beside it a test of that moment."""
    amounts = {"alkalinity": pico("alkalinity", DKH)}
    inflow = came(deliveries=(Delivery(at=NOW, amounts=amounts, at_once=True),))
    assert pytest.approx(DKH) == inflow.delivered(DAY - 1, DAY)
    assert 0 == inflow.delivered(DAY, DAY)
