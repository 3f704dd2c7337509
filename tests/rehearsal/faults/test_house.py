"""The virtual house: what is lost on its wire, and when it looks again."""

from dataclasses import replace

import pytest

from slackwater.facts.events import DoseIntended
from slackwater.facts.messages import Request
from slackwater.facts.tank import Machine, Timing
from slackwater.rehearsal.faults import house as house_module
from slackwater.rehearsal.faults.box_cases import BOX_CASES
from slackwater.rehearsal.faults.case import Target
from slackwater.rehearsal.faults.house import HOUR_MS, MINUTE_MS, SECOND_MS, House
from slackwater.rehearsal.faults.running import ask, build, run_cases, target_of
from slackwater.turn.setup import make_setup
from tests.rehearsal.houses import sample


def at_due() -> tuple[House, Target]:
    """The smallest house, lived through until a minute before its dose."""
    machine, plan = sample("smallest")
    target = target_of(machine, plan, plan.starts)
    assert target is not None
    made = build(machine, plan, target)
    live(made, target.due_ms - MINUTE_MS)
    made.look_closely(3 * MINUTE_MS)
    return made, target


def live(made: House, until_ms: int) -> None:
    """Let time go by."""
    while made.times.t_ms < until_ms:
        made.step(until_ms)


def intents(made: House, target: Target) -> int:
    """How often the dose was intended."""
    return sum(
        isinstance(noted.event, DoseIntended) and noted.event.dose.id == target.dose.id
        for noted in made.entries
    )


def test_what_is_sent_while_the_wire_is_cut_reaches_no_pump() -> None:
    """The daemon has not noticed yet: it intends once, and nothing flows."""
    made, target = at_due()
    flowed = len(made.nodes[target.node].flows)
    # Later than the newest beat, which counts for a while.
    live(made, target.due_ms - 2 * SECOND_MS)
    made.wire.up = False
    live(made, target.due_ms + MINUTE_MS)
    assert 1 == intents(made, target)
    assert flowed == len(made.nodes[target.node].flows)


@pytest.mark.parametrize(("deaf", "is_whole"), [("", False), ("stop", True)])
def test_a_stop_from_afar_ends_a_run_unless_it_is_lost(
    deaf: str, *, is_whole: bool
) -> None:
    """Lost, it leaves the run to the node, which ends it when it is complete."""
    made, target = at_due()
    made.wire.deaf.add(deaf)
    middle_ms = target.due_ms + target.run_ms // 2
    asked = Request(tank=target.tank, id="rehearsal", act="stop")
    made.at(middle_ms, lambda: made.wire.to_daemon(asked, middle_ms))
    live(made, target.due_ms + MINUTE_MS)
    flow = made.nodes[target.node].flows[-1]
    assert target.pump == flow.pump
    assert is_whole is (flow.volume_ul == target.dose.volume_ul)
    assert 0 < flow.volume_ul <= target.dose.volume_ul


def test_a_house_without_a_plan_looks_once_an_hour() -> None:
    """Nothing is due, ever: it goes on by the hour."""
    made, _target = at_due()
    made.setup = make_setup(made.machine, {})
    live(made, made.times.t_ms + 4 * MINUTE_MS)
    before_ms = made.times.t_ms
    made.step(before_ms + 2 * HOUR_MS)
    assert HOUR_MS == made.times.t_ms - before_ms


def test_a_pass_that_comes_to_no_rest_ends_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One turn a pass: the dose is still intended once."""
    monkeypatch.setattr(house_module, "TURNS_AT_MOST", 1)
    made, target = at_due()
    live(made, target.due_ms + MINUTE_MS)
    assert 1 == intents(made, target)


def test_a_pump_that_no_line_uses_is_not_asked() -> None:
    """Nothing is due of it within eight days."""
    made, _target = at_due()
    assert ask(made, "carbonate") is not None
    assert ask(made, "nobody") is None


@pytest.mark.parametrize(
    ("timing", "case", "why"),
    [
        ({"free_space_bytes": 0}, "disk-full", "[timing] asks for no free space"),
        ({"start_hold_off_s": 1.0}, "restart", "start_hold_off is 1 s"),
        ({"starts_allowed": 13}, "restart-storm", "starts_allowed is 13"),
    ],
)
def test_what_the_timing_leaves_out_is_not_tried_and_says_why(
    timing: dict[str, float], case: str, why: str
) -> None:
    """A guard that is switched off cannot be shown to work."""
    machine, plan = sample("smallest")
    weaker: Machine = replace(machine, timing=weakened(machine.timing, timing))
    cases = [one for one in BOX_CASES if one.id == case]
    (found,) = run_cases(weaker, plan, plan.starts, cases).not_tried
    assert why in found.why


def weakened(timing: Timing, fields: dict[str, float]) -> Timing:
    """Timing with other figures."""
    changed: Timing = replace(timing, **fields)  # type: ignore[arg-type]  # of its own types
    return changed
