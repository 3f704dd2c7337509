"""Decisions held to what has turned out to fit under the caps."""

from dataclasses import replace
from datetime import timedelta

from slackwater.assessment.deciding import Decision, capped, most_of
from slackwater.assessment.knobs import Knobs, knobs_of
from slackwater.facts.plan import PlanLine
from slackwater.facts.proposal import Ground
from slackwater.facts.tank import EffectCap, Outside
from tests.assessment.reefs import TODAY, line, machine, plan

LATER = TODAY + timedelta(days=10)


def knobs(most_ul: int | None, *lines: PlanLine) -> Knobs:
    """The carbonate pump with these lines; of it so much has turned out to fit."""
    fits = {} if most_ul is None else {"carbonate": most_ul}
    return knobs_of(machine(), "reef", plan(*lines), TODAY, fits)


def kept(found: Knobs) -> Decision:
    """The decision to leave the pump as it is."""
    knob = found.by_pump["carbonate"]
    return Decision(
        knob=knob, goal_ul=knob.now_ul, changed=False, free_ul=knob.now_ul, grounds=()
    )


def test_what_stays_and_fits_stays_as_it_is() -> None:
    """Nothing has turned out not to fit, or there is room for all of it."""
    for most_ul in (None, 10_000):
        found = knobs(most_ul, line("carbonate", 10_000))
        decision = capped(found, kept(found))
        assert (10_000, False, False, ()) == (
            decision.goal_ul,
            decision.changed,
            decision.relaid,
            decision.grounds,
        )


def test_what_stays_comes_down_where_it_turned_out_not_to_fit() -> None:
    """To what fits, and says so."""
    found = knobs(9_000, line("carbonate", 10_000))
    decision = capped(found, kept(found))
    assert (9_000, True) == (decision.goal_ul, decision.changed)
    (told,) = decision.grounds
    assert (Ground.CAPPED, 10_000, 9_000) == (
        told.ground,
        told.figures["wanted_ul"],
        told.figures["most_ul"],
    )


def test_a_later_step_that_does_not_fit_is_laid_anew() -> None:
    """What flows today fits; the step that comes in ten days would not."""
    now = line("carbonate", 10_000, last_day=LATER - timedelta(days=1))
    step = line("carbonate", 20_000, id="step", first_day=LATER)
    found = knobs(15_000, now, step)
    decision = capped(found, kept(found))
    assert (10_000, True, True, 15_000) == (
        decision.goal_ul,
        decision.changed,
        decision.relaid,
        decision.most_ul,
    )
    assert [Ground.CAPPED] == [one.ground for one in decision.grounds]
    # A correction beside it ends by itself: it is no step.
    aside = replace(step, purpose="correction")
    found = knobs(15_000, now, aside)
    assert not capped(found, kept(found)).relaid


def test_a_source_beyond_the_cap_leaves_nothing_and_never_less() -> None:
    """Limewater alone brings more than may be poured in: the pump gives 0."""
    made = machine()
    reef = made.tanks["reef"]
    cap = EffectCap(gross=1)
    lime = Outside(id="lime", tank="reef", parameter="alkalinity", per_day=10**12)
    made = replace(
        made,
        tanks={"reef": replace(reef, caps={"alkalinity": cap})},
        outside=(lime,),
    )
    found = knobs_of(made, "reef", plan(line("carbonate", 10_000)), TODAY, {})
    most, where = most_of(found, found.by_pump["carbonate"])
    assert (0.0, "[tank.reef.caps.alkalinity] gross") == (most, where)
