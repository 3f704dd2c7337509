"""A day's layout to the second, reckoned by hand.

Carbonate and calcium are kept 900 s apart; a run flows for 12 s, and 70 s lie between
two starts of one pump.
"""

from collections.abc import Mapping

import pytest

from slackwater.facts.plan import PlanLine
from slackwater.planning.layout import Laid, Layout, Lost, Shape, Slot, Span, Stream
from tests.planning.plans import line, machine, timed

DAY_S = 86_400
FAR_S = 40_000


def stream(order: int, one: PlanLine, volumes: tuple[int, ...] = (1000,)) -> Stream:
    """A line of short runs."""
    return Stream(
        order=order, line=one, volumes=volumes, run_s=10, flow_s=12, pause_s=70, lag_s=0
    )


CARBONATE, CALCIUM = line(count=1), line("calcium", count=1)
SAME_PUMP = line("trace", count=1, pump="carbonate-reef")


def lay(
    lines: tuple[PlanLine, ...],
    spans: Mapping[int, Span],
    *,
    before: Laid | None = None,
    gap_s: float = 900.0,
) -> Laid:
    """The day of these lines, each with one window."""
    streams = {order: stream(order, one) for order, one in enumerate(lines)}
    layout = Layout(streams, timed(machine("UTC"), apart_gap_s=gap_s))
    shape = Shape(DAY_S, tuple((order, (span,)) for order, span in spans.items()))
    return layout.lay(shape, before or Laid())


def starts(laid: Laid) -> dict[int, list[int]]:
    """When each line's doses start."""
    return {
        order: [slot.at_s for slot in slots] for order, slots in laid.placed.items()
    }


@pytest.mark.parametrize(
    ("first_s", "second_s", "placed"),
    [
        (0, 69, []),
        (0, 70, [70]),
        (570, 500, [500]),
        (570, 501, []),
    ],
)
def test_one_pump_is_not_asked_while_it_runs_or_rests(
    first_s: int, second_s: int, placed: list[int]
) -> None:
    """Both ends of the 70 s are free, before the other dose and after it."""
    spans = {0: (first_s, FAR_S), 1: (second_s, FAR_S)}
    laid = lay((CARBONATE, SAME_PUMP), spans)
    assert {0: [first_s], 1: placed} == starts(laid)
    assert (() if placed else (Lost(1, 1, "pump", 0),)) == laid.lost


@pytest.mark.parametrize(("at_s", "placed"), [(69, []), (70, [70])])
def test_a_longer_rest_elsewhere_changes_no_edge(at_s: int, placed: list[int]) -> None:
    """Whichever of a pump's lines reaches furthest, after 70 s it is free."""
    far = Stream(
        order=1, line=SAME_PUMP, volumes=(1,), run_s=1, flow_s=1, pause_s=500, lag_s=0
    )
    streams = {0: stream(0, CARBONATE), 1: far, 2: stream(2, SAME_PUMP)}
    spans = ((0, ((0, FAR_S),)), (1, ((30_000, FAR_S),)), (2, ((at_s, FAR_S),)))
    laid = Layout(streams, machine("UTC")).lay(Shape(DAY_S, spans), Laid())
    assert placed == starts(laid)[2]


@pytest.mark.parametrize(
    ("one", "at_s", "placed"),
    [(CALCIUM, DAY_S - 911, [60]), (CALCIUM, DAY_S - 912, [0])],
)
def test_a_gap_over_midnight_counts_to_the_second(
    one: PlanLine, at_s: int, placed: list[int]
) -> None:
    """What ends a second after midnight is still in the way."""
    slots = {0: (Slot(at_s, DAY_S, 1, 1000),)}
    before = Laid(length_s=DAY_S, asked=slots, placed=slots)
    laid = lay((one, CARBONATE), {1: (0, FAR_S)}, before=before)
    assert {1: placed} == starts(laid)


@pytest.mark.parametrize(("at_s", "placed"), [(DAY_S - 69, []), (DAY_S - 70, [0])])
def test_a_rest_over_midnight_counts_to_the_second(
    at_s: int, placed: list[int]
) -> None:
    """The same for the rest of a pump."""
    slots = {0: (Slot(at_s, DAY_S, 1, 1000),)}
    before = Laid(length_s=DAY_S, asked=slots, placed=slots)
    laid = lay((CARBONATE, SAME_PUMP), {1: (0, FAR_S)}, before=before)
    assert {1: placed} == starts(laid)


@pytest.mark.parametrize(("second_s", "placed"), [(59, []), (60, [60])])
def test_the_day_before_counts_to_the_second(second_s: int, placed: list[int]) -> None:
    """A dose ten seconds before midnight keeps its pump for a minute of the day."""
    slots = {0: (Slot(DAY_S - 10, DAY_S, 1, 1000),)}
    before = Laid(length_s=DAY_S, asked=slots, placed=slots)
    laid = lay((CARBONATE, SAME_PUMP), {1: (second_s, FAR_S)}, before=before)
    assert {1: placed} == starts(laid)


@pytest.mark.parametrize(
    ("first_s", "second_s", "placed_s"),
    [
        (0, 0, 960),
        (0, 911, 971),
        (0, 912, 912),
        (5000, 4088, 4088),
        (5000, 4089, 5949),
    ],
)
def test_what_is_kept_apart_moves_by_whole_minutes_and_only_then(
    first_s: int, second_s: int, placed_s: int
) -> None:
    """12 s of flow and 900 s, on either side."""
    spans = {0: (first_s, FAR_S), 1: (second_s, FAR_S)}
    assert [placed_s] == starts(lay((CARBONATE, CALCIUM), spans))[1]


def test_a_dose_without_a_place_takes_no_other_with_it() -> None:
    """The first half of the window is blocked, the second has room."""
    streams = {0: stream(0, CARBONATE), 1: stream(1, CALCIUM, (500, 500))}
    shape = Shape(DAY_S, ((0, ((0, FAR_S),)), (1, ((0, 1800),))))
    laid = Layout(streams, machine("UTC")).lay(shape, Laid())
    assert [960] == starts(laid)[1]
    assert (Lost(1, 1, "apart", 0),) == laid.lost


def test_a_dose_pushed_out_by_its_own_pump_says_so() -> None:
    """Another line of the pump was moved into its way."""
    lines = (CALCIUM, CARBONATE, SAME_PUMP)
    laid = lay(lines, {0: (0, FAR_S), 1: (0, FAR_S), 2: (900, 960)})
    assert {0: [0], 1: [960], 2: []} == starts(laid)
    assert (Lost(2, 1, "pump", 1),) == laid.lost


def test_a_gap_of_one_second_is_a_gap() -> None:
    """It is what stands in the way, and is named."""
    laid = lay((CARBONATE, CALCIUM), {0: (0, FAR_S), 1: (0, 10)}, gap_s=1.0)
    assert (Lost(1, 1, "apart", 0),) == laid.lost


def test_a_dose_does_not_leave_its_share_for_the_next() -> None:
    """Shares of 900 s; all that lies before 1812 s is blocked."""
    streams = {0: stream(0, CARBONATE), 1: stream(1, CALCIUM, (500, 500, 500))}
    shape = Shape(DAY_S, ((0, ((900, FAR_S),)), (1, ((0, 2700),))))
    laid = Layout(streams, machine("UTC")).lay(shape, Laid())
    assert [1860] == starts(laid)[1]
    assert (Lost(1, 1, "apart", 0), Lost(1, 2, "apart", 0)) == laid.lost


@pytest.mark.parametrize(("at_s", "placed"), [(499, []), (500, [500])])
def test_a_long_rest_counts_beside_a_short_one(at_s: int, placed: list[int]) -> None:
    """A line of the pump that rests 500 s, and one that rests 70 s in the evening."""
    long = Stream(
        order=0, line=CARBONATE, volumes=(1,), run_s=1, flow_s=1, pause_s=500, lag_s=0
    )
    streams = {0: long, 1: stream(1, SAME_PUMP), 2: stream(2, SAME_PUMP)}
    spans = ((0, ((0, FAR_S),)), (1, ((30_000, FAR_S),)), (2, ((at_s, FAR_S),)))
    laid = Layout(streams, machine("UTC")).lay(Shape(DAY_S, spans), Laid())
    assert placed == starts(laid)[2]
    assert (() if placed else (Lost(2, 1, "pump", 0),)) == laid.lost


@pytest.mark.parametrize(("end_s", "placed"), [(140, [0, 70]), (139, [0])])
def test_a_line_may_ask_for_its_pump_as_soon_as_it_is_free(
    end_s: int, placed: list[int]
) -> None:
    """Two doses in 140 s are 70 s apart, in 139 s a second too close."""
    streams = {0: stream(0, CARBONATE, (500, 500))}
    shape = Shape(DAY_S, ((0, ((0, end_s),)),))
    laid = Layout(streams, machine("UTC")).lay(shape, Laid())
    assert {0: placed} == starts(laid)
    assert (() if len(placed) > 1 else (Lost(0, 2, "pump", 0),)) == laid.lost


def test_what_is_over_in_time_is_not_named() -> None:
    """Calcium blocks up to 922 s; magnesium is over with the minute, at 960 s."""
    lines = (CALCIUM, line("magnesium", count=1), CARBONATE)
    laid = lay(lines, {0: (10, FAR_S), 1: (48, FAR_S), 2: (0, 900)})
    assert (Lost(2, 1, "apart", 0),) == laid.lost
