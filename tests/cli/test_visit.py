"""`visit`: a round at one tank, from the pause to the report."""

import fcntl
import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.alarms import AlarmRaised, Cause, alarm_id
from slackwater.facts.events import Calibrated, HoldRaised, HoldReleased
from slackwater.facts.safeguards import ReservoirFilled
from slackwater.facts.waters import MeasurementKept
from slackwater.service.standing import LOCK_NAME
from tests.cli.stage import Stage, stage_of

TESTED = {"tests": ["alkalinity=8.1 dKH", "calcium=420 mg/L"], "method": "drops"}


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def answers(folder: Path, told: object) -> Path:
    """A file of answers."""
    path = folder / "answers.json"
    path.write_text(told if isinstance(told, str) else json.dumps(told), "utf-8")
    return path


def of(stage: Stage, kind: type) -> list[object]:
    """Every entry of a kind."""
    return [one for one in stage.events() if isinstance(one, kind)]


def begin(stage: Stage, minutes_ago: int, lasts: int = 60) -> HoldRaised:
    """A visit that somebody began some time ago and broke off."""
    told = answers(stage.state, {})
    assert 0 == stage.run("visit", "--answers", told, "--by", "helper").code
    (model,) = [one for one in stage.events() if isinstance(one, HoldRaised)]
    stamp = stage.stamp()
    stamp["at"] -= timedelta(minutes=minutes_ago)
    begun = HoldRaised(
        **stamp,
        hold_id="visit/before",
        scope=model.scope,
        reason=model.reason,
        latched=False,
        until=stamp["at"] + timedelta(minutes=lasts),
        by="helper",
        note="visit",
    )
    stage.append(begun)
    return begun


def test_a_visit_told_in_a_file_is_one_round(stage: Stage, tmp_path: Path) -> None:
    """Pause, tests, refill, end: each on record with the person's name."""
    told = answers(tmp_path, {**TESTED, "refills": {"carbonate": "1.5 L"}})
    done = stage.run("visit", "--answers", told, "--by", "keeper", "--json")
    assert 0 == done.code, done.err
    tests = [one for one in stage.events() if isinstance(one, MeasurementKept)]
    assert {("alkalinity", "keeper", "drops"), ("calcium", "keeper", "drops")} == {
        (one.parameter, one.by, one.method) for one in tests
    }
    (filled,) = [one for one in stage.events() if isinstance(one, ReservoirFilled)]
    assert ("carbonate", 1_500_000, "keeper") == (
        filled.reservoir,
        filled.content_ul,
        filled.by,
    )
    assert {} == stage.folded().holds
    document = done.document
    assert ("reef", "keeper", []) == (
        document["tank"],
        document["by"],
        document["agreed"],
    )
    shown = document["tests"]
    assert isinstance(shown, list)
    assert 2 == len(shown)


def test_the_pause_comes_first_and_ends_by_itself(stage: Stage, tmp_path: Path) -> None:
    """A test that is refused breaks the visit off; the pause has an end of its own."""
    told = answers(tmp_path, {"tests": ["alkalinity=8100 dKH"]})
    done = stage.run("visit", "--answers", told, "--minutes", "30", "--by", "keeper")
    assert 2 == done.code
    assert [] == of(stage, MeasurementKept)
    (hold,) = stage.folded().holds.values()
    assert hold.scope == "tank/reef"
    assert not hold.latched
    assert hold.at + timedelta(minutes=30) == hold.until
    assert hold.hold_id.startswith("visit/")


def test_it_goes_on_where_it_was_broken_off(stage: Stage, tmp_path: Path) -> None:
    """The same answers again record nothing twice, and begin no second pause."""
    wrong = answers(tmp_path, {**TESTED, "refills": {"carbonate": "many"}})
    assert 2 == stage.run("visit", "--answers", wrong, "--by", "keeper").code
    assert 2 == len(of(stage, MeasurementKept))
    right = answers(tmp_path, {**TESTED, "refills": {"carbonate": "1 L"}})
    done = stage.run("visit", "--answers", right, "--by", "helper")
    assert 0 == done.code, done.err
    assert "Going on with the visit that keeper began" in done.err
    assert 2 == len(of(stage, MeasurementKept))
    assert 1 == len(of(stage, HoldRaised))
    assert 1 == len(of(stage, ReservoirFilled))
    again = stage.run("visit", "--answers", right, "--by", "helper")
    assert 0 == again.code
    assert 2 == len(of(stage, HoldRaised))
    assert 4 == len(of(stage, MeasurementKept))


def test_a_pause_that_ran_out_is_begun_anew_and_an_old_visit_is_over(
    stage: Stage, tmp_path: Path
) -> None:
    """Two hours later it is the same visit with a new pause; a day later another."""
    begin(stage, minutes_ago=120)
    wrong = answers(tmp_path, {"tests": ["x"]})
    assert 2 == stage.run("visit", "--answers", wrong, "--by", "keeper").code
    hold = stage.folded().holds["visit/before"]
    assert hold.by == "keeper"
    assert hold.until is not None
    assert hold.until > stage.stamp()["at"]
    done = stage.run("visit", "--answers", answers(tmp_path, {}), "--by", "keeper")
    assert 0 == done.code
    assert "visit/before" not in stage.folded().holds
    begin_again = stage.run(
        "visit", "--answers", answers(tmp_path, {}), "--by", "keeper"
    )
    assert "Going on" not in begin_again.err


def test_time_ends_the_pause_and_not_the_visit(stage: Stage, tmp_path: Path) -> None:
    """What the daemon released goes on; what a person ended does not."""
    begun = begin(stage, minutes_ago=70)
    release = HoldReleased(**stage.stamp(), hold_id=begun.hold_id, by="daemon")
    stage.append(release)
    done = stage.run("visit", "--answers", answers(tmp_path, {}), "--by", "keeper")
    assert "Going on with the visit that helper began" in done.err


def test_a_person_is_asked_step_by_step(stage: Stage) -> None:
    """A slip is told and asked again; nothing said is nothing done."""
    typed = "\n".join(
        (
            *("alkalinity=8.1 dKH", "calcium=420 mg/L", ""),
            "drops",
            *("", ""),
            *("n", "n"),
            "",
        )
    )
    done = stage.run("visit", "--by", "keeper", typed=typed)
    assert 0 == done.code, done.err
    assert 2 == len(of(stage, MeasurementKept))
    assert [] == of(stage, ReservoirFilled)
    for words in ("Visit to reef", "by keeper", "8.10 dKH", "It stays as it is."):
        assert words in done.out
    assert max(map(len, done.out.splitlines())) < 80


def test_an_answer_that_is_refused_is_asked_for_again(stage: Stage) -> None:
    """The figure without its unit writes nothing; the next one is taken."""
    typed = "\n".join(
        (
            *("alkalinity=8.1", "alkalinity=8.1 dKH", "", "drops"),
            *("many litres", "1 L", ""),
            *("n", "n", ""),
        )
    )
    done = stage.run("visit", "--by", "keeper", typed=typed)
    assert 0 == done.code, done.err
    assert 1 == len(of(stage, MeasurementKept))
    assert 1 == len(of(stage, ReservoirFilled))
    assert "Once more, please." in done.err


def test_a_refused_test_takes_no_other_with_it(stage: Stage) -> None:
    """Each line is judged at once; only the wrong one is asked for again."""
    lines = ("calcium=420 mg/L", "alkalinity 8.0", "alkalinity=8.0 dKH", "")
    typed = "\n".join((*lines, "drops", "", "", "n", "n", ""))
    done = stage.run("visit", "--by", "keeper", typed=typed)
    assert 0 == done.code, done.err
    tests = [one for one in stage.events() if isinstance(one, MeasurementKept)]
    assert ["calcium", "alkalinity"] == [one.parameter for one in tests]
    refusal = '"alkalinity 8.0" is not a name with a value'
    between = done.err.partition(refusal)[0]
    assert between.count("Test, like") == lines.index("alkalinity 8.0") + 1


def test_a_test_far_from_the_last_one_is_told_when_it_is_typed(stage: Stage) -> None:
    """The right figure behind it is taken, and the slip is not recorded."""
    assert 0 == stage.run("record", "alkalinity=8.1 dKH", "--by", "keeper").code
    lines = ("alkalinity=5.0 dKH", "alkalinity=8.0 dKH", "")
    typed = "\n".join((*lines, "strips", "", "", "n", "n", ""))
    done = stage.run("visit", "--by", "keeper", typed=typed)
    assert 0 == done.code, done.err
    tests = [one for one in stage.events() if isinstance(one, MeasurementKept)]
    assert ["8.1 dKH", "8.0 dKH"] == [one.typed for one in tests]
    assert 1 == done.err.count("far from its neighbour")


def lifted(stage: Stage) -> list[str]:
    """Why a person lifted a pause, in order."""
    return [one.why for one in stage.events() if isinstance(one, HoldReleased)]


def test_a_pump_is_measured_as_a_step_and_the_pause_makes_way(
    stage: Stage, tmp_path: Path
) -> None:
    """Calibrating begins and asks its own questions; refused, the visit goes on."""
    assert 0 == stage.run("clock", "confirm", "--yes", "--by", "keeper").code
    told = answers(tmp_path, {**TESTED, "measure": ["carbonate"]})
    done = stage.run("visit", "--answers", told, "--by", "keeper", typed="no\n")
    assert 0 == done.code, done.err
    assert "Does the outlet of carbonate hang in a cylinder" in done.err
    assert "the outlet is not in a cylinder" in done.err
    assert ["measuring a pump", "visit ended"] == lifted(stage)
    raised = of(stage, HoldRaised)
    assert 2 == len(raised)
    assert 1 == len({getattr(one, "hold_id", "") for one in raised})
    assert {} == stage.folded().holds


def test_beside_a_daemon_no_pump_is_measured_and_the_pause_stands(
    stage: Stage, tmp_path: Path
) -> None:
    """Only one may command: it says so, and the visit ends as any other."""
    told = answers(tmp_path, {"measure": ["carbonate", "carbonate"]})
    with (stage.state / LOCK_NAME).open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = stage.run("visit", "--answers", told, "--by", "keeper")
    assert 0 == done.code, done.err
    assert 1 == done.err.count("a daemon runs on this ledger")
    assert ["visit ended"] == lifted(stage)


def test_broken_off_while_measuring_it_goes_on_and_pauses_again(
    stage: Stage, tmp_path: Path
) -> None:
    """What was tested before stays tested, and the pause stands again."""
    begun = begin(stage, minutes_ago=10)
    wrong = answers(tmp_path, {**TESTED, "refills": {"carbonate": "many"}})
    assert 2 == stage.run("visit", "--answers", wrong, "--by", "keeper").code
    hold_id, why = begun.hold_id, "measuring a pump"
    stage.append(HoldReleased(**stage.stamp(), hold_id=hold_id, by="keeper", why=why))
    assert {} == stage.folded().holds
    assert 2 == stage.run("visit", "--answers", wrong, "--by", "keeper").code
    assert [hold_id] == list(stage.folded().holds)
    done = stage.run("visit", "--answers", answers(tmp_path, TESTED), "--by", "keeper")
    assert 0 == done.code
    assert 2 == len(of(stage, MeasurementKept))
    assert {} == stage.folded().holds


def test_a_pump_that_is_due_is_offered(stage: Stage) -> None:
    """Measured too long ago: it is named, asked for, and left for another day."""
    long_ago = stage.stamp()
    long_ago["at"] -= timedelta(days=100)
    stage.append(
        Calibrated(
            **long_ago,
            pump="carbonate",
            rate_nl_per_s=500_000,
            cal="77aa01cf",
            shots=4,
            spread_percent=1.0,
            proofs=("identity", "cut-off", "over-run"),
            by="keeper",
        )
    )
    done = stage.run("visit", "--by", "keeper", typed="\n\n\nn\nn\nn\n")
    assert 0 == done.code, done.err
    assert "Measure the pump carbonate again" in done.err
    assert "Measure carbonate now? No daemon may run meanwhile." in done.err


def test_one_approval_ends_it(stage: Stage, tmp_path: Path) -> None:
    """Rehearsed with its faults and approved by the visitor, once."""
    stage.rehearsed()
    highest = {"highest_daily": "72 mL"}
    done = stage.run(
        "visit", "--answers", answers(tmp_path, highest), "--by", "keeper", "--json"
    )
    assert 0 == done.code, done.err
    agreed = done.document["agreed"]
    assert isinstance(agreed, list)
    assert "approved" == agreed[-1]
    assert "keeper" == stage.folded().approvals[-1].approval.by


def test_a_refused_approval_ends_the_visit_all_the_same(
    stage: Stage, tmp_path: Path
) -> None:
    """Who did not read the rehearsal types another figure: nothing is approved."""
    told = answers(tmp_path, {**TESTED, "highest_daily": "3 mL"})
    done = stage.run("visit", "--answers", told, "--by", "keeper", "--json")
    assert 1 == done.code
    agreed = done.document["agreed"]
    assert isinstance(agreed, list)
    assert agreed[-1].startswith("not approved: 3 mL is not the highest")
    assert [] == stage.folded().approvals
    assert {} == stage.folded().holds
    assert 2 == len(of(stage, MeasurementKept))


@pytest.mark.parametrize(
    "told",
    [
        "",
        "{",
        "[]",
        "[" * 5000,
        '{"tests":[],"tests":[]}',
        {"tests": "alkalinity=8 dKH"},
        {"tests": [1]},
        {"tests": ["a=1"] * 41},
        {"refills": {"carbonate": 1}},
        {"refills": {"nowhere": "1 L"}},
        {"measure": ["nowhere"]},
        {"measure": "carbonate"},
        {"propose": "yes"},
        {"approve": True},
        {"highest_daily": 48},
    ],
)
def test_answers_that_cannot_be_used_write_nothing(
    stage: Stage, tmp_path: Path, told: object
) -> None:
    """Not even the pause; one clear error, exit code 2."""
    before = len(stage.events())
    done = stage.run("visit", "--answers", answers(tmp_path, told), "--json")
    assert 2 == done.code
    assert done.errors
    assert before == len(stage.events())


@pytest.mark.parametrize(
    "words",
    [
        ("--tank", "lagoon"),
        ("--minutes", "4"),
        ("--minutes", "241"),
        ("--answers", "/nowhere/at/all.json"),
        ("--by", "x" * 41),
    ],
)
def test_what_is_typed_wrong_writes_nothing(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """Exit code 2 before anything begins."""
    before = len(stage.events())
    assert 2 == stage.run("visit", *words).code
    assert before == len(stage.events())


def test_the_report_is_a_page_of_its_own(stage: Stage, tmp_path: Path) -> None:
    """For a browser or a printer, where it is asked for."""
    page = tmp_path / "visit.html"
    told = answers(tmp_path, TESTED)
    done = stage.run("visit", "--answers", told, "--html", page, "--by", "keeper")
    assert 0 == done.code
    text = page.read_text("utf-8")
    assert "8.10 dKH" in text
    assert "keeper" in text


@pytest.mark.parametrize("is_paused_elsewhere", [False, True])
def test_the_alarm_of_its_pause_ends_with_it(
    stage: Stage, tmp_path: Path, *, is_paused_elsewhere: bool
) -> None:
    """No daemon may run to say so; another pause that stands keeps the alarm."""
    begun = begin(stage, minutes_ago=10)
    if is_paused_elsewhere:
        stage.append(replace(begun, **stage.stamp(), hold_id="pause/other"))
    stage.append(
        AlarmRaised(
            **stage.stamp(),
            alarm=alarm_id(Cause.PAUSED, "reef"),
            cause=Cause.PAUSED,
            about="reef",
            priority="note",
            tanks=("reef",),
        )
    )
    told = answers(tmp_path, {})
    assert 0 == stage.run("visit", "--answers", told, "--by", "helper").code
    (alarm,) = stage.folded().alarms.values()
    assert is_paused_elsewhere == alarm.is_standing
