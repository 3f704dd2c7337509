"""`propose` on a real ledger: from tests and doses to a plan file that stands."""

import shutil
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from slackwater.cli.reading import read_files
from slackwater.facts.events import AnyEvent
from slackwater.facts.stages import LineTakenOver
from slackwater.facts.waters import AddedByHand, MeasurementKept
from slackwater.outside.settings import read_machine
from tests.cli.run_program import CONFIG
from tests.cli.stage import Stage, stage_of

MEQ_PER_DKH = 0.356652
# Of the 200 litres of the sample.
PEQ_PER_DKH = MEQ_PER_DKH * 200 * 10**9
SPOONS_A_DAY = 8
COLUMNS = 80
# Twenty-five hours, so that their dates are never the same.
FAR_APART = "Pacific/Kiritimati", "Pacific/Pago_Pago"
OLD_SODA = """
[outside.old-soda]
tank = "reef"
parameter = "alkalinity"
per_day = "0.9 dKH/day"
line = "carbonate"
volume = "34 mL"

[broker]"""
# Titration errors of an invented keeper, dKH.
ERRORS = (0.04, -0.05, 0.03, -0.02, 0.05, -0.04, 0.01, -0.03)


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, in a folder of its own, with a fresh ledger."""
    config = tmp_path / "config"
    shutil.copytree(CONFIG / "smallest", config)
    return stage_of(tmp_path, config)


def dosed_by_hand(stage: Stage, uptake_dkh: float) -> Iterator[AnyEvent]:
    """One test a day at 8 dKH, kept there by hand, the newest an hour ago."""
    stamp = stage.stamp()
    newest: datetime = stamp["at"] - timedelta(hours=1)
    for back, error in enumerate(ERRORS):
        yield MeasurementKept(
            **stamp,
            id=f"m-{back}",
            tank="reef",
            parameter="alkalinity",
            value=(8.0 + error) * MEQ_PER_DKH,
            typed=f"{8.0 + error:.2f} dKH",
            taken_at=newest - timedelta(days=back),
            provenance="hand",
            method="drops",
            by="keeper",
        )
    spoons = SPOONS_A_DAY * (len(ERRORS) - 1)
    for number in range(spoons):
        given = newest - timedelta(hours=number * 24 / SPOONS_A_DAY + 2)
        yield AddedByHand(
            **stamp,
            id=f"a-{number}",
            tank="reef",
            given_at=given,
            local_day=given.date(),
            by="keeper",
            effects={"alkalinity": round(uptake_dkh / SPOONS_A_DAY * PEQ_PER_DKH)},
        )


def test_a_tank_whose_date_is_still_the_day_before_misses_no_day(
    tmp_path: Path,
) -> None:
    """Two tanks a day apart: what one of them changes begins for each tomorrow."""
    config, (reef, frags) = tmp_path / "config", FAR_APART
    shutil.copytree(CONFIG / "two-tanks", config)
    path = config / "slackwater.toml"
    one, other = path.read_text("utf-8").split("[tank.frags]")
    zoned = [
        part.replace("Europe/Lisbon", zone)
        for part, zone in ((one, reef), (other, frags))
    ]
    path.write_text("[tank.frags]".join(zoned), "utf-8")
    made = stage_of(tmp_path, config)
    plan = config / "plan.toml"
    made.run("propose", "--tank", "reef", "--write", plan, "--replace")
    now = made.stamp()["at"]
    last = min(now.astimezone(ZoneInfo(zone)).date() for zone in FAR_APART)

    assert last + timedelta(days=1) == read_files(config).plan.starts


@pytest.mark.parametrize("is_taken_over", [False, True])
def test_a_line_in_the_place_of_an_old_doser_is_not_cut_by_what_that_one_gave(
    stage: Stage, *, is_taken_over: bool
) -> None:
    """The tank uses up what the old one gives: so must the line that replaces it."""
    machine = stage.config / "slackwater.toml"
    text = machine.read_text("utf-8")
    machine.write_text(text.replace("\n[broker]", OLD_SODA, 1), "utf-8")
    stage.append(
        *(one for one in dosed_by_hand(stage, 0) if one.kind != "added_by_hand")
    )
    if is_taken_over:
        stage.append(LineTakenOver(**stage.stamp(), line="reef/carbonate", by="keeper"))
    lines = stage.run("propose", "--json").document["lines"]
    assert isinstance(lines, list)
    (carbonate,) = (one for one in lines if one["line"] == "reef/carbonate")
    assert 30_000 < carbonate["per_day_ul"]


def test_a_tank_without_tests_keeps_its_plan(stage: Stage) -> None:
    """Nothing is known: the best action is none, and what to test is said."""
    told = stage.run("propose")
    assert 0 == told.code
    assert "the best action is none" in told.out
    document = stage.run("propose", "--json").document
    assert document["best_action_is_none"] is True
    assert document["missing"]


def test_a_plan_that_was_written_passes_check_and_rehearse(stage: Stage) -> None:
    """Less is used than planned: the file is written, and stands as it is."""
    stage.append(*dosed_by_hand(stage, 0.6))
    plan = stage.config / "plan.toml"
    before = plan.read_text("utf-8")
    told = stage.run("propose", "--write", plan, "--replace", "--json")
    assert 0 == told.code
    assert told.document["best_action_is_none"] is False
    assert before == (stage.config / "plan.toml.before").read_text("utf-8")
    assert before != plan.read_text("utf-8")
    begins = min(one["first"] for one in told.document["lines"] if one["first"])  # type: ignore[attr-defined]  # a list
    assert f"starts = {begins}" in plan.read_text("utf-8")
    assert 0 == stage.run("check").code
    assert 0 == stage.run("rehearse", "--days", "10").code


def test_each_line_says_why_in_the_file_and_on_the_screen(stage: Stage) -> None:
    """Grounds with their figures, in dKH and millilitres."""
    stage.append(*dosed_by_hand(stage, 0.6))
    path = stage.config / "next.toml"
    told = stage.run("propose", "--write", path)
    assert "carbonate falls: 36 mL a day" in told.out
    assert "dKH a day" in told.out
    assert "dKH/day" in path.read_text("utf-8")
    assert all(len(line) <= 80 for line in told.out.splitlines()[:-1])


def test_an_existing_file_is_not_written_over(stage: Stage) -> None:
    """One error, and the file is as it was."""
    plan = stage.config / "plan.toml"
    before = plan.read_bytes()
    told = stage.run("propose", "--write", plan, "--json")
    assert 2 == told.code
    assert "--replace" in told.errors[0]["do"]
    assert before == plan.read_bytes()


def test_a_place_that_cannot_be_written_is_one_error(stage: Stage) -> None:
    """A folder that is not there."""
    told = stage.run("propose", "--write", stage.config / "no" / "plan", "--json")
    assert 2 == told.code
    assert 1 == len(told.errors)


@pytest.mark.parametrize(
    "words", [("--tank", "pond"), ("--accept", "heater")], ids=["tank", "pump"]
)
def test_what_is_not_there_is_named_with_what_is(
    stage: Stage, words: tuple[str, str]
) -> None:
    """The error lists the tanks or pumps that could be meant."""
    told = stage.run("propose", *words, "--json")
    assert 2 == told.code
    assert "one of" in told.errors[0]["expected"]


def test_of_two_tanks_one_must_be_named(tmp_path: Path) -> None:
    """Nothing is guessed."""
    stage = stage_of(tmp_path, CONFIG / "two-tanks")
    assert 2 == stage.run("propose", "--json").code
    tank = stage.run("propose", "--json").errors[0]["expected"].split()[-1]
    assert 0 == stage.run("propose", "--tank", tank, "--json").code


def test_the_plan_in_force_is_compared_not_the_file(stage: Stage) -> None:
    """A file that was changed after approval is not what is dosed."""
    assert 0 == stage.approve("--now").code
    plan = stage.config / "plan.toml"
    plan.write_text(plan.read_text("utf-8").replace("36 mL", "20 mL"), "utf-8")
    document = stage.run("propose", "--json").document
    lines = document["lines"]
    assert isinstance(lines, list)
    assert {36_000} == {line["per_day_ul"] for line in lines}


def test_without_any_plan_a_first_one_is_proposed(stage: Stage) -> None:
    """No plan file: the lines begin from nothing."""
    (stage.config / "plan.toml").unlink()
    stage.append(*dosed_by_hand(stage, 0.6))
    path = stage.config / "plan.toml"
    told = stage.run("propose", "--write", path)
    assert "begins" in told.out
    assert 0 == stage.run("check").code


def test_what_changes_may_begin_today_and_never_yesterday(stage: Stage) -> None:
    """The first day is said, or refused."""
    stage.append(*dosed_by_hand(stage, 0.6))
    today = stage.stamp()["at"].astimezone(ZoneInfo("Europe/Berlin")).date()
    lines = stage.run("propose", "--from", today, "--json").document["lines"]
    assert isinstance(lines, list)
    assert str(today) == lines[0]["first"]
    past = stage.run("propose", "--from", today - timedelta(days=1), "--json")
    assert 2 == past.code
    assert "is over" in past.errors[0]["what"]


def test_an_uptake_that_tests_found_is_ready_to_paste(stage: Stage) -> None:
    """0.6 dKH a day against the stated 1.0: a line that the file takes as it stands."""
    stage.nothing_dosed(len(ERRORS))
    stage.append(*dosed_by_hand(stage, 0.6))
    told = stage.run("propose")
    lines = stage.run("propose", "--json").document["paste"]
    assert isinstance(lines, list)
    _why, head, stated, line = lines
    machine = stage.config / "slackwater.toml"
    text = machine.read_text("utf-8")
    old = next(one for one in text.splitlines() if one.startswith("alkalinity = { est"))
    machine.write_text(text.replace(old, line), "utf-8")
    read = read_machine(stage.config).tanks["reef"].uptake["alkalinity"]
    litres = 200

    assert "[tank.reef.uptake]" == head
    assert "# stated: 1 dKH/day; found by 8 tests in 7 days" == stated
    assert f"    {line}" in told.out.splitlines()
    assert "nothing is applied" in told.out
    found_dkh = read.estimate / (MEQ_PER_DKH * litres * 10**9)
    assert pytest.approx(0.6, abs=0.05) == found_dkh
    assert 0 < read.low < read.estimate
    assert [] == stage.run("propose", "--json").document["paste"]


def test_a_cap_that_held_is_ready_to_paste(stage: Stage) -> None:
    """More is used than the cap lets in: the wider one is arithmetic, not applied."""
    stage.append(*dosed_by_hand(stage, 2.4))
    told = stage.run("propose", "--json")
    lines = told.document["paste"]
    assert isinstance(lines, list)
    cap = next(line for line in lines if "gross" in line)
    machine = stage.config / "slackwater.toml"
    text = machine.read_text("utf-8")
    old = next(one for one in text.splitlines() if one.startswith("alkalinity = { gr"))
    before = machine.read_bytes()
    machine.write_text(text.replace(old, cap), "utf-8")
    wider = read_machine(stage.config).tanks["reef"].caps["alkalinity"].gross

    assert any("1.3 x 2." in line and "stated: 1.8" in line for line in lines)
    assert any("h from target to ceiling" in line for line in lines)
    assert all(len(line) < COLUMNS - 4 for line in lines)
    assert before != machine.read_bytes()
    expected = (1.3 * 2.4 + 0.5) * MEQ_PER_DKH * 200 * 10**9
    assert pytest.approx(expected, rel=0.03) == wider


def test_a_plan_nobody_approved_is_told_to_flow_nowhere(stage: Stage) -> None:
    """Steps begin from nothing, and the first day gives no more than is used."""
    stage.append(*dosed_by_hand(stage, 0.3))
    draft = stage.run("propose", "--json").document
    assert 0 == stage.approve("--now").code
    forced = stage.run("propose", "--json").document
    firsts = [
        next(one for one in document["lines"] if one["pump"] == "carbonate")  # type: ignore[attr-defined]  # a list
        for document in (draft, forced)
    ]

    assert ("not approved", "in force") == (
        draft["compared_with"],
        forced["compared_with"],
    )
    assert 15_000 > firsts[0]["per_day_ul"]
    assert 28_800 == firsts[1]["per_day_ul"]


def test_a_written_plan_says_from_which_day_to_rehearse(stage: Stage) -> None:
    """A plan that began in spring rehearses spring by itself."""
    stage.append(*dosed_by_hand(stage, 0.6))
    told = stage.run("propose", "--write", stage.config / "plan.toml", "--replace")
    line = next(one for one in told.out.splitlines() if "rehearse" in one)
    day = line.split()[-1]

    assert f"slackwater rehearse --faults --from {day}" == line.strip()
    assert 0 == stage.run("rehearse", "--from", day, "--days", "3").code


def test_the_file_tells_grounds_once_and_steps_name_them(stage: Stage) -> None:
    """Seven steps with the same four sentences each would hide the plan."""
    assert 0 == stage.approve("--now").code
    stage.append(*dosed_by_hand(stage, 0.3))
    path = stage.config / "next.toml"
    stage.run("propose", "--accept", "carbonate", "--write", path)
    text = path.read_text("utf-8")
    steps = text.count('id = "carbonate-step-')

    assert steps > 1
    assert 1 == text.count("net balance of uptake")
    assert steps <= text.count("# For the reasons of carbonate-step-1.")


def test_what_is_held_back_says_why_on_the_screen(stage: Stage) -> None:
    """Water of 31 degrees: the ground is there, not only where to look for it."""
    stage.append(*dosed_by_hand(stage, 1.0))
    stage.run("record", "temperature=31 degC", "--method", "meter")
    told = " ".join(stage.run("propose").out.split())
    assert "holds it back. (The water has 31.0 degC: bring that right first." in told


def test_a_plan_that_begins_later_leaves_no_days_without_a_dose(stage: Stage) -> None:
    """Steps from day ten on: taken over tonight, nine days would have nothing."""
    assert 0 == stage.approve("--now").code
    # So little is used up that the fall takes steps.
    stage.append(*dosed_by_hand(stage, 0.05))
    plan = stage.config / "plan.toml"
    tomorrow = stage.run("propose").out.splitlines()[-1]
    first = f"{stage.stamp()['at'] + timedelta(days=10):%Y-%m-%d}"
    told = stage.run("propose", "--from", first, "--write", plan, "--replace")

    assert tomorrow.endswith("rehearse and approve.")
    assert f"starts = {first}" in plan.read_text("utf-8")
    assert told.out.endswith(f"slackwater approve --at {first}T00:00\n")


def test_an_approval_that_waits_is_named(stage: Stage) -> None:
    """What is proposed begins from the plan in force, not from what comes."""
    assert 0 == stage.approve("--now").code
    text = (stage.config / "plan.toml").read_text("utf-8")
    (stage.config / "plan.toml").write_text(text.replace('"36 mL"', '"35 mL"'), "utf-8")
    day = stage.stamp()["at"] + timedelta(days=5)
    words = ("--at", f"{day:%Y-%m-%dT00:00Z}")
    assert 0 == stage.approve(*words, highest="70 mL").code
    told = " ".join(stage.run("propose").out.split())
    assert (
        f"Approval 2 takes over at {day:%Y-%m-%d} 00:00 UTC; this proposal does not "
        "build on it, and approving this one withdraws it."
    ) in told


@pytest.mark.parametrize("first", ["9999-12-31", "2500-01-01"])
def test_a_first_day_far_ahead_is_one_clear_error(stage: Stage, first: str) -> None:
    """No fault of the program: what was asked, and until when a day may be."""
    told = stage.run("propose", "--from", first, "--json")
    assert (2, f"{first} is too far ahead") == (told.code, told.errors[0]["what"])
    assert "--from" == told.errors[0]["where"]


@pytest.mark.parametrize("place", ["plan.toml/next.toml", "nowhere/next.toml"])
def test_a_plan_that_cannot_be_written_is_one_clear_error(
    stage: Stage, place: str
) -> None:
    """A folder that is a file, or that is not there."""
    told = stage.run("propose", "--write", stage.config / place, "--json")
    assert (2, str(stage.config / place)) == (told.code, told.errors[0]["where"])
    assert told.errors[0]["what"].startswith("it cannot be written: ")


def test_a_plan_of_which_no_line_is_left_is_not_written(stage: Stage) -> None:
    """Salinity of 30 ends every dose; an empty plan would be refused, the old goes on.

    What stands in the place of a plan is the verb that stops doses now.
    """
    assert 0 == stage.approve("--now").code
    stage.run("record", "salinity=30 PSU", "alkalinity=8 dKH", "--method", "meter")
    plan = stage.config / "plan.toml"
    before = plan.read_bytes()
    told = stage.run("propose", "--write", plan, "--replace")

    assert 1 == told.code
    assert before == plan.read_bytes()
    assert "carbonate ends: 36 mL a day → nothing" in told.out
    assert "slackwater hold --scope tank/reef" in told.out
