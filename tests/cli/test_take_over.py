"""`take-over`: an old doser's lines, compared and taken over one by one."""

from pathlib import Path

import pytest

from slackwater.cli.room import Moment, rooms
from slackwater.facts.events import HoldRaised, PumpsEnabled
from slackwater.facts.reasons import Code, because
from slackwater.facts.stages import LineGivenBack, LineTakenOver
from slackwater.outside.settings import read_machine
from slackwater.service.standing import only_one
from tests.cli.run_program import SMALLEST, Outcome, changed
from tests.cli.stage import DAY_MS, Stage, stage_of

SODA, CALCIUM = "reef/carbonate", "reef/calcium"
OLD_DKH = 0.9
MINUTE_MS = 60_000
OLD = """
[outside.old-soda]
tank = "reef"
parameter = "alkalinity"
per_day = "0.9 dKH/day"
line = "carbonate"
volume = "34 mL"

[outside.old-calcium]
tank = "reef"
parameter = "calcium"
per_day = "6.5 mg/L/day"
line = "calcium"
volume = "34 mL"

[broker]"""


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample beside an old doser that gives both lines."""
    config = changed(tmp_path / "config", SMALLEST, slackwater=("\n[broker]", OLD))
    return stage_of(tmp_path, config)


def enabled(stage: Stage) -> Outcome:
    """Everything that enabling asks for, and enabled."""
    stage.commission("carbonate", "calcium")
    assert 0 == stage.approve("--now").code
    stage.shadow()
    told = stage.run("enable", "--json")
    assert 0 == told.code
    return told


def take(stage: Stage, *words: object) -> Outcome:
    """Take a line over while a daemon runs here."""
    with only_one(stage.state):
        return stage.run("take-over", *words, "--old-is-off", "--json")


def givers(stage: Stage) -> dict[str, str]:
    """Who gives each line, as it is listed."""
    lines = stage.run("take-over", "--json").document["lines"]
    assert isinstance(lines, list)
    return {one["line"]: one["given_by"] for one in lines}


def test_a_plan_and_the_old_doser_it_replaces_are_not_added_up(stage: Stage) -> None:
    """Together they would pass the net rise of 0.5 dKH; one takes the other's place."""
    told = stage.run("check", "--json")
    assert (0, []) == (told.code, told.errors)


def test_enabling_leaves_every_named_line_to_the_old_doser(stage: Stage) -> None:
    """Pumps may run, and give nothing yet."""
    told = enabled(stage).document
    assert [CALCIUM, SODA] == told["left_to_old"]
    (event,) = [e for e in stage.events() if isinstance(e, PumpsEnabled)]
    assert (CALCIUM, SODA) == event.left_to_old
    assert {SODA: "the old doser", CALCIUM: "the old doser"} == givers(stage)
    assert "an old doser still gives reef/calcium" in stage.run("status").out


def test_lines_go_over_one_by_one(stage: Stage) -> None:
    """By the line's own name where only one tank has it, each with its entry."""
    enabled(stage)
    assert SODA == take(stage, "carbonate").document["line"]
    assert {SODA: "us", CALCIUM: "the old doser"} == givers(stage)
    assert 0 == take(stage, CALCIUM).code
    assert {SODA: "us", CALCIUM: "us"} == givers(stage)
    taken = [e.line for e in stage.events() if isinstance(e, LineTakenOver)]
    assert [SODA, CALCIUM] == taken


def test_the_list_compares_millilitres_and_effects_a_day(stage: Stage) -> None:
    """The old doser's day, the plan's, and what ours gave in 24 hours."""
    assert 0 == stage.approve("--now").code
    lines = stage.run("take-over", "--json").document["lines"]
    assert isinstance(lines, list)
    soda = next(one for one in lines if one["line"] == SODA)
    assert (34_000, 36_000, 0) == (
        soda["old_ul"],
        soda["planned_ul"],
        soda["given_in_24_h_ul"],
    )
    effect = soda["effects"]["alkalinity"]
    # 36 mL of 100 g/L Na2CO3 of 99 % in 200 L: 2 x 100 x 0.99 / 105.988 meq/mL (IUPAC
    # weights) x 36 / 200 / 0.35665246 meq/L per dKH.
    assert float(effect["planned"]) == pytest.approx(0.9428, abs=0.0005)
    assert float(effect["old"]) == pytest.approx(0.9, abs=1e-5)
    assert "ours would be in 24 h" in stage.run("take-over").out


def test_what_a_hand_may_add_counts_an_old_doser_as_the_gate_does(stage: Stage) -> None:
    """Its whole day while the line is its own; then what is not older than a day."""
    enabled(stage)
    assert pytest.approx(OLD_DKH, abs=1e-3) == from_elsewhere(stage, 0)

    take(stage, "carbonate")
    assert pytest.approx(OLD_DKH / 2, abs=1e-3) == from_elsewhere(stage, DAY_MS // 2)
    assert 0 == from_elsewhere(stage, DAY_MS + MINUTE_MS)


def from_elsewhere(stage: Stage, later_ms: int) -> float:
    """What counts of alkalinity beside pumps and hand so much later, dKH."""
    stamp, machine = stage.stamp(later_ms), read_machine(stage.config)
    moment = Moment(utc=stamp["at"], proven_ms=stamp["proven_ms"])
    tank = machine.tanks["reef"]
    (room,) = rooms(stage.folded(), machine, tank, ["alkalinity"], moment)
    return room.outside / (20 / 56.077 * 200 * 1e9)


def test_nothing_is_taken_over_while_both_would_give_it(stage: Stage) -> None:
    """Asked whether it is off: no, or no answer, and nothing changes."""
    enabled(stage)
    with only_one(stage.state):
        assert 1 == stage.run("take-over", "carbonate", typed="n\n").code
        assert 2 == stage.run("take-over", "carbonate", typed="").code
        assert {SODA: "the old doser", CALCIUM: "the old doser"} == givers(stage)
        assert 0 == stage.run("take-over", "carbonate", typed="y\n").code


def test_nothing_is_taken_over_while_neither_would_give_it(stage: Stage) -> None:
    """In shadow, without a daemon, or with its pump held: refused before asking."""
    stage.commission("carbonate", "calcium")
    assert 0 == stage.approve("--now").code
    assert ["pumps are not enabled"] == _what(take(stage, "carbonate"))
    stage.shadow()
    assert 0 == stage.run("enable").code
    assert ["no daemon runs"] == _what(
        stage.run("take-over", "carbonate", "--json", "--old-is-off")
    )
    raised = HoldRaised(
        **stage.stamp(),
        hold_id="h",
        scope="pump/carbonate",
        reason=because(Code.MANUAL_HOLD),
        latched=True,
    )
    stage.append(raised)
    (found,) = _what(take(stage, "carbonate"))
    assert found.startswith("hold h")
    assert 0 == take(stage, "calcium").code


def _what(told: Outcome) -> list[str]:
    assert 1 == told.code
    return [error["what"] for error in told.errors]


@pytest.mark.parametrize("line", ["soda", "frags/carbonate", ""])
def test_a_line_that_no_old_doser_gives_is_refused(stage: Stage, line: str) -> None:
    """With the names there are."""
    enabled(stage)
    told = take(stage, line)
    assert (2, 1) == (told.code, len(told.errors))


def test_a_line_is_given_back_without_any_condition(stage: Stage) -> None:
    """Ours stops at once; the second time changes nothing."""
    enabled(stage)
    take(stage, "carbonate")
    told = stage.run("take-over", "carbonate", "--back", "--json").document
    assert (True, "the old doser") == (told["changed"], told["given_by"])
    assert {SODA: "the old doser", CALCIUM: "the old doser"} == givers(stage)
    again = stage.run("take-over", "carbonate", "--back", "--json").document
    assert False is again["changed"]


@pytest.mark.parametrize("is_live", [True, False])
def test_a_line_that_was_never_ours_is_not_given_back(
    stage: Stage, *, is_live: bool
) -> None:
    """One error, and no entry; the old doser gives it as ever."""
    if is_live:
        enabled(stage)
    else:
        stage.approve("--now")
    told = stage.run("take-over", "carbonate", "--back", "--json")
    assert [f"{SODA} was never taken over: the old doser gives it"] == _what(told)
    assert [] == [e for e in stage.events() if isinstance(e, LineGivenBack)]


def test_going_back_to_shadow_says_which_line_nobody_gives(stage: Stage) -> None:
    """The old doser's is off and ours is imagined."""
    enabled(stage)
    take(stage, "carbonate")
    told = stage.run("disable", "--json").document
    assert [SODA] == told["given_by_nobody"]
    assert {SODA: "nobody", CALCIUM: "the old doser"} == givers(stage)


def test_who_enables_again_is_asked_whether_the_old_doser_is_still_off(
    stage: Stage,
) -> None:
    """Meanwhile somebody may have needed it: two that give a line are an overdose."""
    enabled(stage)
    take(stage, "carbonate")
    told = stage.run("disable")
    assert "take-over reef/carbonate --back" in told.out
    # What is missing comes first, and nothing is asked.
    assert "in shadow" in stage.run("enable", "--old-is-off").err
    assert "still off" not in stage.run("enable").err
    stage.shadow()
    refused = stage.run("enable", typed="n\n")
    assert (1, "shadow") == (refused.code, stage.folded().stage)
    assert f"take-over {SODA} --back" in refused.err
    assert 2 == stage.run("enable", typed="").code
    assert 0 == stage.run("enable", typed="y\n").code
    assert {SODA: "us", CALCIUM: "the old doser"} == givers(stage)


def test_a_line_given_back_in_shadow_is_left_to_the_old_doser(stage: Stage) -> None:
    """Then nothing is asked, and ours gives nothing of it."""
    enabled(stage)
    take(stage, "carbonate")
    stage.run("disable")
    stage.run("take-over", "carbonate", "--back")
    stage.shadow()
    assert 0 == stage.run("enable").code
    assert {SODA: "the old doser", CALCIUM: "the old doser"} == givers(stage)


def without(stage: Stage, name: str) -> None:
    """Take a table of the old doser out of the file."""
    path = stage.config / "slackwater.toml"
    text = path.read_text("utf-8")
    head, _, rest = text.partition(f"[outside.{name}]")
    path.write_text(f"{head}[{rest.partition(chr(10) + '[')[2]}", "utf-8")


def test_the_file_is_reduced_as_lines_come_over(stage: Stage) -> None:
    """A line nobody took over yet keeps its table; one that is ours may lose it."""
    enabled(stage)
    without(stage, "old-soda")
    told = stage.approve()
    assert 1 == told.code
    assert "no longer names" in told.errors[0]["what"]
    take(stage, "carbonate")
    assert 0 == stage.approve().code
    assert [CALCIUM] == stage.folded().left_to_old


def test_a_table_that_is_added_while_live_leaves_its_line(stage: Stage) -> None:
    """From the approval on the old doser gives it, and ours does not."""
    whole = (stage.config / "slackwater.toml").read_text("utf-8")
    without(stage, "old-soda")
    enabled(stage)
    assert [CALCIUM] == stage.folded().left_to_old
    (stage.config / "slackwater.toml").write_text(whole, "utf-8")
    assert 0 == stage.approve().code
    assert [CALCIUM, SODA] == stage.folded().left_to_old
    back = [e.line for e in stage.events() if isinstance(e, LineGivenBack)]
    assert [SODA] == back


def test_without_an_old_doser_it_says_how_one_is_declared(tmp_path: Path) -> None:
    """Nothing to compare."""
    plain = stage_of(tmp_path)
    plain.approve("--now")
    told = plain.run("take-over")
    assert 0 == told.code
    assert "[outside.ID]" in told.out
