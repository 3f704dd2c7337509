"""`added`: hand additions count like doses, and are refused for no cap.

Figures by hand for 200 L: 100 g/L Na2CO3 of 99 % hold 2 * 99 / 105.988 = 1.8681 meq/mL
(IUPAC weights), so 20 mL are 37.36 meq, 0.1868 meq/L, 0.524 dKH.
"""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.now import Now
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.stages import CapsLowered
from slackwater.facts.waters import AddedByHand, MeasurementStruck
from slackwater.ledger.history import read_history
from slackwater.ledger.store import LedgerFile
from slackwater.outside.clock import SystemClock
from slackwater.service.memory import LIVE_NAME
from tests.assessment.past import DKH
from tests.cli.run_program import Outcome
from tests.cli.stage import Stage, stage_of

PEQ_PER_ML = 1.8681e9
PEQ_PER_DKH = round(20 / 56.077 * 200 * 1e9)
KEY = "effect/reef/alkalinity"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def added(stage: Stage, *words: object) -> Outcome:
    """Run the verb with a document as its answer."""
    return stage.run("added", "--json", "--by", "keeper", *words)


def hands(stage: Stage) -> list[AddedByHand]:
    """Every hand addition in the ledger."""
    return [one for one in stage.events() if isinstance(one, AddedByHand)]


def only(document: dict[str, object], key: str) -> dict[str, object]:
    """The one record of a list in a document."""
    found = document[key]
    assert isinstance(found, list)
    (record,) = found
    assert isinstance(record, dict)
    return record


def charged(stage: Stage) -> int:
    """What counts against the cap on alkalinity now."""
    rolling = stage.folded().charges.get(KEY)
    since_ms = stage.stamp()["proven_ms"] - DAY_MS
    return 0 if rolling is None else rolling.since(since_ms)


@pytest.mark.parametrize("words", [("20", "mL", "carbonate"), ("20 mL", "carbonate")])
def test_a_volume_of_a_solution_brings_what_it_holds(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """With or without quotes around the volume."""
    assert 0 == added(stage, *words).code
    (one,) = hands(stage)

    assert ("carbonate", 20_000, "keeper") == (one.solution, one.volume_ul, one.by)
    assert 20 * PEQ_PER_ML == pytest.approx(one.effects["alkalinity"], rel=1e-4)
    assert one.effects["alkalinity"] == charged(stage)


def test_amounts_may_be_told_without_a_solution(stage: Stage) -> None:
    """By how much the tank rises; several at once."""
    told = added(stage, "alkalinity=0.3 dKH", "calcium=2 mg/L")
    (one,) = hands(stage)

    assert 0 == told.code
    assert ("", 0) == (one.solution, one.volume_ul)
    assert {"alkalinity": 0.3 * PEQ_PER_DKH, "calcium": 2 * 200 * 1e9} == {
        name: pytest.approx(amount, rel=1e-4) for name, amount in one.effects.items()
    }


def test_the_daemon_gives_less_and_it_is_said(stage: Stage) -> None:
    """Net 0.5 above an uptake of 0.8 dKH: 1.3 - 0.524 = 0.776 are left, 29.6 mL."""
    assert 0 == stage.approve("--now").code
    page = stage.run("added", "20", "mL", "carbonate").out
    document = added(stage, "0.001", "mL", "carbonate").document

    assert "carbonate gives 29.637 mL at most of the 36 mL planned" in page
    cap, back = only(document, "caps"), only(document, "held_back")
    assert ("1.8", "0.776") == (cap["cap"], str(cap["left"])[:5])
    assert ("carbonate", 36_000) == (back["pump"], back["planned_ul"])


def row_of(page: str, name: str) -> str:
    """The row of a parameter, its cells two spaces apart."""
    return next(one for one in page.splitlines() if one.startswith(name))


def test_the_cap_beside_what_is_free_is_the_one_that_binds(stage: Stage) -> None:
    """Not the 1.8 of what may be poured in: 1.3 less 0.524 are 0.776 dKH."""
    assert 0 == stage.approve("--now").code
    page = stage.run("added", "20", "mL", "carbonate").out
    row = row_of(page, "alkalinity")

    assert ["0.524", "0.524", "1.3", "0.776"] == row.replace("dKH", "").split()[1:]
    assert (
        "The cap on alkalinity is 1.3 dKH and not 1.8 dKH a day: it may climb by 0.5 "
        "dKH a day beside an uptake of 0.8 dKH."
    ) in " ".join(page.split())
    cap = only(added(stage, "0.001", "mL", "carbonate").document, "caps")
    left = float(str(cap["most"])) - float(str(cap["in_24_h"]))
    assert pytest.approx(left, abs=1e-5) == float(str(cap["left"]))


def test_a_cap_that_the_file_holds_lower_leaves_less(stage: Stage) -> None:
    """1 dKH counts at once, as it does in the daemon: 0.476 are left."""
    assert 0 == stage.approve("--now").code
    caps = {"cap/reef/alkalinity/gross": PEQ_PER_DKH}
    stage.append(CapsLowered(**stage.stamp(), caps=caps))
    page = stage.run("added", "20", "mL", "carbonate").out
    row = row_of(page, "alkalinity")

    assert ["0.524", "0.524", "1", "0.476"] == row.replace("dKH", "").split()[1:]
    assert "The cap on alkalinity" not in page
    # 0.476 dKH of 0.524 dKH in 20 mL.
    assert "carbonate gives 18.1" in page


def test_nothing_is_refused_for_a_cap(stage: Stage) -> None:
    """Five degrees are far above the 1.8 of the cap, and are in the water."""
    stage.approve("--now")
    told = stage.run("added", "alkalinity=5 dKH")

    assert 0 == told.code
    assert "carbonate gives 0 µL at most of the 36 mL planned" in told.out
    assert 5 * PEQ_PER_DKH == pytest.approx(charged(stage), rel=1e-4)


def test_what_fits_is_said_too(stage: Stage) -> None:
    """A little leaves room for the whole plan; without a plan there is none."""
    without = stage.run("added", "1", "mL", "carbonate").out
    stage.approve("--now")
    with_plan = stage.run("added", "1", "mL", "carbonate", "--confirm").out

    assert "No plan doses within the next 24 hours." in without
    assert "Everything planned for the next 24 hours still fits." in with_plan


def test_a_plan_that_takes_over_tonight_is_held_back_too(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Approved for the next midnight: what it doses within 24 hours counts.

    In the afternoon of tomorrow: right after a midnight the next one is a day away.
    """
    now = SystemClock.now

    def tomorrow(clock: SystemClock) -> Now:
        read = now(clock)
        then = read.utc.replace(hour=15) + timedelta(days=1)
        return replace(read, utc=then)

    monkeypatch.setattr(SystemClock, "now", tomorrow)
    assert 0 == stage.approve().code
    told = added(stage, "200 mL", "carbonate").document
    back = told["held_back"]
    assert isinstance(back, list)

    assert ["carbonate"] == [one["pump"] for one in back]
    assert 0 == back[0]["fits_ul"]
    assert 0 < back[0]["planned_ul"] <= 36_000


def test_far_too_much_says_what_to_do_first(stage: Stage) -> None:
    """First aid, and how to take a slip of the hand back."""
    told = stage.run("added", "alkalinity=30 dKH", "--by", "keeper")
    (entry,) = hands(stage)
    usual = stage.run("added", "alkalinity=0.3 dKH", "--at", "2026-05-03 09:30")

    assert 0 == told.code
    assert "slackwater first-aid overdose" in told.out
    assert f"slackwater added --strike {entry.id} --why" in told.out
    assert "first-aid" not in usual.out


def test_told_late_it_counts_from_when_it_was_given(stage: Stage) -> None:
    """After a day it counts against no cap any more, and the ledger knows it."""
    then = stage.stamp()["at"] - timedelta(hours=26)
    told = stage.run(
        "added", "20", "mL", "carbonate", "--at", f"{then:%Y-%m-%dT%H:%M}Z"
    )

    assert "counts against no cap any more" in told.out
    assert (0, 1) == (charged(stage), len(hands(stage)))


def test_the_local_day_is_that_of_the_tank(stage: Stage) -> None:
    """Half past eleven at night in UTC is the next day in Berlin."""
    added(stage, "20", "mL", "carbonate", "--at", "2026-05-03T23:30Z")

    assert "2026-05-04" == hands(stage)[0].local_day.isoformat()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "nothing is said to have been added"),
        (("20 mL",), "not a volume of a known solution"),
        (("20", "mL", "soda"), "not a volume of a known solution"),
        (("carbonate",), "not a volume of a known solution"),
        (("20", "carbonate"), "has no unit"),
        (("20", "meq", "carbonate"), "unknown unit"),
        (("0", "mL", "carbonate"), "cannot have gone into reef"),
        (("201", "L", "carbonate"), "cannot have gone into reef"),
        (("20", "L", "carbonate"), "that is 524 dKH of alkalinity"),
        (("alkalinity=0 dKH",), "cannot have been added"),
        (("salinity=1 PSU",), "cannot have been added"),
        (("alkalinity=170 dKH",), "cannot have been added"),
        (("alkalinity=0.3",), "has no unit"),
        (("alkalinity=0.3 dKH", "alkalinity=0.2 dKH"), "given twice"),
        (("alkalinity=0.3 dKH", "20"), '"20" is not a name with a value'),
        (("20", "mL", "carbonate", "--at", "2036-05-03 09:30"), "lies ahead"),
        (("20", "mL", "carbonate", "--why", "x"), "--why has no meaning"),
        (("20", "mL", "carbonate", "--strike", "a-1"), "both given"),
        (("--strike", "a-1"), "no reason is given"),
        (("--strike", "a-1", "--why", "x"), 'called "a-1"'),
    ],
)
def test_bad_input_is_told_and_nothing_is_written(
    stage: Stage, words: tuple[str, ...], said: str
) -> None:
    """Exit code 2, findings in four words, the ledger as it was."""
    before = stage.events()
    told = added(stage, *words)

    assert 2 == told.code
    assert said in " ".join(error["what"] for error in told.errors)
    assert all(all(error.values()) for error in told.errors)
    assert before == stage.events()


def test_it_needs_to_know_the_water(tmp_path: Path) -> None:
    """Without machine nobody can say what a millilitre does."""
    stage = stage_of(tmp_path)
    bare = Stage(tmp_path / "nowhere", stage.state)
    told = added(bare, "20", "mL", "carbonate", "--tank", "reef")

    assert (2, "nothing says how much water reef holds") == (
        told.code,
        told.errors[0]["what"],
    )


def test_a_struck_addition_stays_charged_and_leaves_the_history(stage: Stage) -> None:
    """It never happened, but what was held back for it stays so for the day."""
    added(stage, "20", "mL", "carbonate")
    (one,) = hands(stage)
    told = stage.run("added", "--strike", one.id, "--why", "the other tank")
    again = added(stage, "--strike", one.id, "--why", "again")
    (strike,) = [e for e in stage.events() if isinstance(e, MeasurementStruck)]
    begin = one.at - timedelta(days=1)
    with LedgerFile.open(stage.state / LIVE_NAME, writable=False) as ledger:
        past = read_history(ledger, "reef", begin, strike.at)

    assert "stays charged" in told.out
    assert (1, f"{one.id} was struck") == (again.code, again.errors[0]["what"])
    assert one.effects["alkalinity"] == charged(stage)
    assert () == past.deliveries


def test_a_struck_addition_is_nowhere_told_as_given(stage: Stage) -> None:
    """A status counts nothing of it, and a page that looks back says it was not so."""
    assert 0 == stage.approve("--now").code
    stage.commission("carbonate", "calcium")
    stage.approve("--now")
    stage.shadow()
    assert 0 == stage.run("enable").code
    added(stage, "20", "mL", "carbonate")
    added(stage, "5", "mL", "carbonate")
    first, second = hands(stage)
    before = _given(stage)
    stage.run("added", "--strike", first.id, "--why", "the other tank")

    assert before * 5 / 25 == pytest.approx(_given(stage), rel=1e-3)
    page = " ".join(stage.run("since", "2h").out.split())
    assert 1 == page.count("; struck, it was not so")
    assert second.at >= first.at


def _given(stage: Stage) -> float:
    """What a status says was given in 24 hours."""
    tanks = stage.run("status", "--json").document["tanks"]
    assert isinstance(tanks, list)
    return float(tanks[0]["given"])


def test_what_was_poured_in_stands_in_the_level_at_once(stage: Stage) -> None:
    """0.9 dKH by hand, any minute of an hour: the next assessment has all of it."""
    stage.nothing_dosed(10)
    for day in range(9):
        at = f"{stage.stamp()['at'] - timedelta(days=day + 0.1):%Y-%m-%dT%H:%M}Z"
        words = (f"alkalinity={8.0 + 0.01 * day} dKH", "--at", at, "--method", "drops")
        assert 0 == stage.run("record", *words).code
    levels = [_alkalinity(stage)]
    told = added(stage, "alkalinity=0.9 dKH")
    levels.append(_alkalinity(stage))

    assert 0 == told.code
    assert 0.9 * DKH == pytest.approx(levels[1] - levels[0], abs=0.005 * DKH)


def _alkalinity(stage: Stage) -> float:
    """The level now, as assessed, canonical."""
    found = stage.run("assess", "--no-tasks", "--json").document["standings"]
    assert isinstance(found, dict)
    return float(found["alkalinity"]["level"])
