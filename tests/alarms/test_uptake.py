"""An uptake that fell: begun and ended by assessments alone."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

from slackwater.alarms.judging import ASSESSED_FOR
from slackwater.alarms.uptake import uptake_alarms
from slackwater.alarms.words import headline
from slackwater.assessment.records import Assessment, Notice
from slackwater.facts.reasons import Figure
from tests.alarms.desk import Desk, names, raised
from tests.assessment.past import DKH, NOW
from tests.assessment.pictures import seen
from tests.assessment.test_blocks import uptake

NAME = "uptake-fell.reef"
LATER_S = (ASSESSED_FOR + timedelta(days=1)).total_seconds()


def assessment(*, fell: bool) -> Assessment:
    """1.0 dKH a day where it was 1.5 a fortnight ago, or not."""
    found = replace(uptake(frozen=False), fell=fell, before_per_day=1.5 * DKH)
    notice = Notice(
        code="uptake-fell", weight="warning", parameter="alkalinity", text="less"
    )
    return Assessment(
        tank="reef",
        at=NOW,
        uptakes={"alkalinity": found},
        notices=(notice,) if fell else (),
    )


def assess(desk: Desk, *, fell: bool) -> list[str]:
    """Assess once, write what follows, and say what that was."""
    state, made = desk.moment.state, assessment(fell=fell)
    found = list(uptake_alarms(made, state, desk.stamp, "keeper"))
    desk.fold(*found)
    return names(found)


def test_it_is_told_once_and_ends_with_an_assessment() -> None:
    """However often it is found; a look of the daemon neither begins nor ends it."""
    desk = Desk()
    assert [] == assess(desk, fell=False)
    assert [NAME] == assess(desk, fell=True)
    assert [] == assess(desk, fell=True)
    assert [] == desk.look_on(3600)
    assert [f"{NAME} returned"] == assess(desk, fell=False)
    assert [NAME] == assess(desk, fell=True)


def test_it_says_what_to_look_at_and_how_much_less() -> None:
    """A third less; the dose goes down with it, and the animals are the reason."""
    desk = Desk()
    found = list(
        uptake_alarms(assessment(fell=True), desk.moment.state, desk.stamp, "x")
    )
    (told,) = raised(found)
    assert ("soon", 33, "alkalinity") == (
        told.priority,
        told.figures["less_percent"],
        told.figures["parameter"],
    )
    assert "the dose is being reduced" in headline(told)


def test_a_pump_that_alkalinity_answers_otherwise_is_an_alarm_of_its_own() -> None:
    """It names the pump and the ratio, is a note, and ends with an assessment."""
    desk = Desk()
    figures: Mapping[str, Figure] = {
        "pumps": "carbonate",
        "seen_over_believed": 0.75,
        "sd": 0.04,
    }
    notice = Notice(
        code="pump-answers",
        weight="warning",
        parameter="alkalinity",
        text="less",
        figures=figures,
    )
    made = Assessment(tank="reef", at=NOW, notices=(notice,))
    found = list(uptake_alarms(made, desk.moment.state, desk.stamp, "x"))
    (told,) = raised(found)
    assert ("pump-answers.reef", "note") == (told.alarm, told.priority)
    assert {"pumps": "carbonate", "seen_over_believed": 0.75} == told.figures
    desk.fold(*found)
    over = replace(made, notices=())
    ended = uptake_alarms(over, desk.moment.state, desk.stamp, "x")
    assert ["pump-answers.reef returned"] == names(list(ended))


def test_a_contaminant_to_act_on_is_an_alarm_of_its_own() -> None:
    """The one furthest above its level to act on; it ends with an assessment."""
    desk = Desk()
    traces = {
        one.parameter: one
        for one in (seen("copper", 22.0), seen("zinc", 30.0), seen("tin", 5.0))
    }
    made = Assessment(
        tank="reef",
        at=NOW,
        traces=traces,
        notices=tuple(
            Notice(code="trace-act", weight="alarm", parameter=name, text="there")
            for name in ("copper", "zinc")
        ),
    )
    found = list(uptake_alarms(made, desk.moment.state, desk.stamp, "x"))
    (told,) = raised(found)
    assert ("contaminant.reef", "soon") == (told.alarm, told.priority)
    assert {"parameter": "copper", "seen": "22 ug/L", "also": "zinc"} == told.figures
    assert "so much of a contaminant" in headline(told)
    desk.fold(*found)
    over = replace(made, notices=())
    ended = uptake_alarms(over, desk.moment.state, desk.stamp, "x")
    assert ["contaminant.reef returned"] == names(list(ended))


def test_another_contaminant_is_told_though_one_is_known() -> None:
    """The first was acknowledged; a second one is news, fewer or the same are none."""
    desk = Desk()
    traces = {one.parameter: one for one in (seen("copper", 22.0), seen("zinc", 30.0))}
    notices = {
        name: Notice(code="trace-act", weight="alarm", parameter=name, text="there")
        for name in traces
    }
    for found, told in (
        (("copper",), True),
        (("copper",), False),
        (("copper", "zinc"), True),
        (("copper", "zinc"), False),
        (("zinc",), False),
        (("copper", "zinc"), False),
    ):
        made = Assessment(
            tank="reef",
            at=NOW,
            traces=traces,
            notices=tuple(notices[name] for name in found),
        )
        news = list(uptake_alarms(made, desk.moment.state, desk.stamp, "x"))
        desk.fold(*news)
        assert (["contaminant.reef"] if told else []) == names(news)


def test_an_assessment_that_nobody_repeats_speaks_for_two_weeks() -> None:
    """Then it is over, and a new one is asked for by tasks."""
    desk = Desk()
    assess(desk, fell=True)
    assert [f"{NAME} returned"] == names(desk.look_on(LATER_S, every_s=6 * 3600))


def test_what_is_found_each_day_stands_for_as_long_as_it_is_found() -> None:
    """The daemon assesses once a day: for forty days it is never said to be over.

    It is told again each week.
    """
    desk, told = Desk(), 0
    for _ in range(40):
        told += len(assess(desk, fell=True))
        desk.look_on(24 * 3600, every_s=3600)
    assert f"{NAME} returned" not in names(desk.events)
    assert 6 == told
    assert desk.moment.state.alarms[NAME].is_standing
