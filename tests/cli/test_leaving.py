"""`away` and `back`: what speaks against going, the sheet, and what happened."""

import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.cli.sheet import Stay, sheet
from slackwater.facts.events import DoseMissed, HoldRaised
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, because
from slackwater.facts.safeguards import AwayDeclared, AwayEnded, TubeSwapped
from slackwater.facts.tank import Tank
from tests.cli.run_program import SMALLEST
from tests.cli.stage import Stage, stage_of

DAY = timedelta(days=1)


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, approved and measured."""
    config = tmp_path / "config"
    shutil.copytree(SMALLEST, config)
    made = stage_of(tmp_path, config)
    made.commission("carbonate", "calcium")
    assert 0 == made.approve("--now").code
    return made


def day(stage: Stage, ahead: int) -> str:
    """A day so many days from now."""
    return (stage.stamp()["at"] + ahead * DAY).date().isoformat()


def met(stage: Stage, *words: str) -> dict[str, list[bool]]:
    """What each condition came to, by its name."""
    told = stage.run("away", "--until", day(stage, 10), *words, "--json")
    found: dict[str, list[bool]] = {}
    listed = told.document["checks"]
    assert isinstance(listed, list)
    for check in listed:
        found.setdefault(check["check"], []).append(check["met"])
    return found


def test_tells_everything_that_speaks_against_going(stage: Stage) -> None:
    """No daemon, a plan of today, no test, alarms for nobody; the rest is well."""
    expected = {
        "running": [False],
        "missed": [True],
        "floor": [True],
        "approval": [True],
        "plan": [False],
        "reservoir": [True, True],
        "calibration": [True, True],
        "test": [False],
        "holds": [True],
        "guards": [True],
        "alarms": [False],
    }
    assert expected == met(stage)
    assert [] == [e for e in stage.events() if isinstance(e, AwayDeclared)]


def test_refuses_with_the_list_and_says_how_to_go_all_the_same(stage: Stage) -> None:
    """Exit code 1, each line go or no-go, nothing declared."""
    told = stage.run("away", "--until", day(stage, 10))
    assert 1 == told.code
    first_words = {line.split()[0] for line in told.out.splitlines() if line}
    assert {"go", "no-go", "Not"} <= first_words
    assert "--anyway" in told.out
    assert stage.folded().away is None


def test_a_test_of_today_counts(stage: Stage) -> None:
    """It is fresh for three days."""
    stage.run("record", "alkalinity=8.1 dKH")
    assert [True] == met(stage)["test"]


def test_a_tube_swapped_since_it_was_measured_speaks_against_going(
    stage: Stage,
) -> None:
    """That pump alone; what it gives is not known, however new its calibration is."""
    stage.append(TubeSwapped(**stage.stamp(), pump="carbonate", by="keeper"))
    assert [True, False] == met(stage)["calibration"]
    page = " ".join(stage.run("away", "--until", day(stage, 10)).out.split())
    assert "no-go carbonate: its tube was swapped after it was measured" in page


def test_a_bottle_must_last_a_week_longer(stage: Stage) -> None:
    """A week of 36 mL a day beyond ten days: more than half a litre is needed."""
    stage.run("refill", "carbonate", "--content", "0.3 L")
    assert sorted(met(stage)["reservoir"]) == [False, True]


def test_a_bottle_must_give_what_lines_draw_on_their_own_days(stage: Stage) -> None:
    """Carbonate ends the day after tomorrow: 108 mL at most, not 17 days of it."""
    plan = stage.config / "plan.toml"
    text = plan.read_text("utf-8").replace('group = "balanced"\n', "")
    text = text.split("# Both lines")[0]
    ends = f'solution = "carbonate"\nlast = {day(stage, 2)}'
    plan.write_text(text.replace('solution = "carbonate"', ends), "utf-8")
    told = stage.approve("--now")
    assert 0 == told.code, told.out
    stage.run("refill", "carbonate", "--content", "0.15 L")
    assert [True, True] == met(stage)["reservoir"]
    stage.run("refill", "carbonate", "--content", "0.05 L")
    assert [False, True] == sorted(met(stage)["reservoir"])


def test_a_hold_and_a_bypass_speak_against_going(stage: Stage) -> None:
    """Both are named."""
    stage.run("hold", "--note", "tube")
    words = ("--scope", "all", "--reason", "x", "--for", "1h")
    stage.run("bypass", "leak", *words)
    found = met(stage)
    assert ([False], [False]) == (found["holds"], found["guards"])


@pytest.mark.parametrize(
    ("addresses", "expected"),
    [
        ("# nobody\nmailto://one.example\n", False),
        ("mailto://one.example\n\nmailto://two.example\n", True),
    ],
)
def test_alarms_must_reach_two_people(
    stage: Stage, addresses: str, *, expected: bool
) -> None:
    """The second is the one who is there; sent to nobody they are no alarms."""
    assert [False] == met(stage)["alarms"]
    file = stage.config / "slackwater.toml"
    text = file.read_text("utf-8") + '\n[notify]\nurls_file = "notify.urls"\n'
    file.write_text(text, "utf-8")
    assert [False] == met(stage)["alarms"]
    (stage.config / "notify.urls").write_text(addresses, "utf-8")
    assert [expected] == met(stage)["alarms"]


def test_without_a_plan_nobody_needs_to_leave(tmp_path: Path) -> None:
    """There is one finding, and it is that."""
    bare = stage_of(tmp_path)
    assert {"plan": [False]} == met(bare)


def test_declares_with_a_reason_and_prints_the_sheet(stage: Stage) -> None:
    """What was not met is kept with the entry; the sheet stands in both faces."""
    words = ("--anyway", "family", "--contact", "the neighbour, 555 0100")
    told = stage.run("away", "--until", day(stage, 10), *words, "--json")
    assert (0, True) == (told.code, told.document["declared"])
    (declared,) = [e for e in stage.events() if isinstance(e, AwayDeclared)]
    assert 4 == len(declared.unmet)
    assert declared == stage.folded().away
    page = str(told.document["sheet"])
    assert "555 0100" in page
    assert page in stage.run("away", "--until", day(stage, 10), *words).out


def test_the_sheet_says_look_hold_call_and_never(stage: Stage) -> None:
    """One page of plain words for somebody who has never seen the tank."""
    now = stage.stamp()["at"]
    tank = Tank(id="reef", name="The reef", net_ul=1, zone="Europe/Berlin")
    page = sheet(Stay(tanks=[tank], begins=now, ends=now + 9 * DAY, contact=""))
    lines = page.splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 79
    never = ("NEVER", "Open a bottle", "mix two")
    asked = ("WHEN YOU ARE ASKED", "Test the water", "up to the marked line")
    for words in ("LOOK", "Press HOLD", "Call", *never, *asked):
        assert words in page
    for caution in ("licensed", "eye", "Children"):
        assert caution in page


@pytest.mark.parametrize(
    ("words", "place"),
    [
        (("--until", "2020-01-01"), "--until"),
        (("--until", "soon"), "--until"),
        (("--from", "2999-01-01", "--until", "2999-01-02"), "--from"),
    ],
)
def test_refuses_days_that_cannot_be(
    stage: Stage, words: tuple[str, ...], place: str
) -> None:
    """Behind us, no day at all, or too far ahead."""
    told = stage.run("away", *words, "--json")
    assert 2 == told.code
    assert [place] == [error["where"] for error in told.errors]


def test_refuses_to_come_back_before_leaving(stage: Stage) -> None:
    """The beginning lies after the end."""
    words = ("--from", day(stage, 9), "--until", day(stage, 3))
    assert ["--from"] == [
        error["where"] for error in stage.run("away", *words, "--json").errors
    ]


def test_back_says_what_happened_and_lets_corrections_run(stage: Stage) -> None:
    """Doses, misses, holds and bottles since the day of leaving."""
    stage.run("away", "--until", day(stage, 10), "--anyway", "family")
    now = stage.stamp()["at"]
    dose = DueDose(
        id="reef/carbonate@2026-05-03#01",
        line="carbonate",
        tank="reef",
        pump="carbonate",
        local_day=now.date(),
        ordinal=1,
        due_at=now,
        latest_at=now,
        volume_ul=1000,
    )
    stage.append(
        DoseMissed(**stage.stamp(), dose=dose, reasons=(because(Code.NODE_ABSENT),)),
        HoldRaised(
            **stage.stamp(),
            hold_id="leak/cellar",
            scope="water/reef",
            reason=because(Code.LEAK, switch="cellar"),
            latched=True,
        ),
    )
    told = stage.run("back", "--json", "--note", "all is well")
    assert 0 == told.code
    assert ({"node-absent": 1}, {"leak": 1}, {}) == (
        told.document["missed"],
        told.document["holds"],
        told.document["doses"],
    )
    assert stage.folded().away is None
    (ended,) = [e for e in stage.events() if isinstance(e, AwayEnded)]
    assert "all is well" == ended.note


def test_back_says_it_in_words(stage: Stage) -> None:
    """What still holds, what is left, and to test first."""
    stage.run("away", "--until", day(stage, 10), "--anyway", "family")
    stage.run("hold", "--note", "tube")
    page = stage.run("back").out
    for words in (
        "Welcome back",
        "none is made up",
        "Standing hold/",
        "Bottle",
        "Test",
    ):
        assert words in page


def test_back_without_an_absence_changes_nothing(stage: Stage) -> None:
    """It says so."""
    told = stage.run("back", "--json")
    assert (0, False) == (told.code, told.document["changed"])
    assert [] == [e for e in stage.events() if isinstance(e, AwayEnded)]
