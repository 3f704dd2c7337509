"""`history`: values of one parameter, with marks, on a real ledger."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import ReadingKept
from slackwater.ledger.store import LedgerFile
from slackwater.outside.clock import SystemClock
from slackwater.service.memory import LIVE_NAME
from tests.cli.run_program import SMALLEST
from tests.cli.stage import Stage, stage_of
from tests.ledger.samples import made


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def record(stage: Stage, value: str, days_ago: float, *words: str) -> str:
    """A test some days ago; gives its id."""
    at = stage.stamp()["at"] - timedelta(days=days_ago)
    words = ("--at", f"{at:%Y-%m-%dT%H:%M}Z", "--confirm", "--json", *words)
    told = stage.run("record", f"alkalinity={value}", *words)
    assert 0 == told.code, told.out
    found = told.document["measurements"]
    assert isinstance(found, list)
    return str(found[0]["id"])


def listed(stage: Stage, key: str, *words: str) -> list[dict[str, object]]:
    """The values or probe days of a document."""
    told = stage.run("history", "alkalinity", "--json", *words)
    assert 0 == told.code, told.out
    found = told.document[key]
    assert isinstance(found, list)
    return found


def test_values_stand_in_the_order_of_their_tests(stage: Stage) -> None:
    """With time, level, who tested and how; other parameters are passed over."""
    second = record(stage, "8.1 dKH", 1, "--method", "drops", "--lot", "7")
    first = record(stage, "8.0 dKH", 3)
    stage.run("record", "calcium=418 mg/L")
    page = stage.run("history", "alkalinity").out
    rows = listed(stage, "values")

    assert [first, second] == [row["id"] for row in rows]
    assert page.index(first) < page.index(second)
    assert all(words in page for words in ("8.00 dKH", "hand", "drops 7"))
    assert "calcium" not in page


@pytest.mark.parametrize(("days", "count"), [("10", 1), ("11", 2)])
def test_only_so_many_days_back(stage: Stage, days: str, count: int) -> None:
    """28 days are usual."""
    record(stage, "8.1 dKH", 1)
    record(stage, "8.1 dKH", 10.5)
    record(stage, "8.1 dKH", 29)

    assert count == len(listed(stage, "values", "--days", days))
    assert 2 == len(listed(stage, "values"))


def test_what_was_corrected_or_struck_says_so(stage: Stage) -> None:
    """Nothing is left out."""
    wrong = record(stage, "8.9 dKH", 2)
    right = record(stage, "8.1 dKH", 2, "--correct", wrong)
    gone = record(stage, "8.2 dKH", 1)
    stage.run("record", "--strike", gone, "--why", "wrong tank", "--by", "keeper")
    page = " ".join(stage.run("history", "alkalinity").out.split())
    rows = {row["id"]: row for row in listed(stage, "values")}

    assert all(words in page for words in ("superseded by", "corrects", "struck by"))
    assert [f"superseded by {right}", "confirmed"] == rows[wrong]["marks"]
    assert [f"corrects {wrong}", "confirmed"] == rows[right]["marks"]
    assert ["struck by keeper: wrong tank", "confirmed"] == rows[gone]["marks"]
    assert ("superseded", right) == (rows[wrong]["mark"], rows[wrong]["marked_by"])
    assert ("struck", "wrong tank") == (rows[gone]["mark"], rows[gone]["why"])


def test_an_outlier_is_marked_and_stays(stage: Stage) -> None:
    """Seven tests near 8.1 dKH and one of 9.6 by the same method."""
    for number in range(7):
        record(stage, f"{8.1 + 0.05 * (number % 3):.2f} dKH", 9 - number)
    far = record(stage, "9.6 dKH", 1.5)
    rows = listed(stage, "values")

    assert [far] == [row["id"] for row in rows if "outlier" in str(row["marks"])]
    assert 8 == len(rows)


def test_kits_are_compared_with_themselves_alone(stage: Stage) -> None:
    """A kit that reads higher is no outlier of another."""
    for number in range(7):
        record(stage, "8.1 dKH", 9 - number, "--method", "drops")
    record(stage, "9.6 dKH", 1.5, "--method", "strips")

    assert [] == [r for r in listed(stage, "values") if "outlier" in str(r["marks"])]


def test_two_methods_that_cannot_both_be_right_are_marked(stage: Stage) -> None:
    """9.6 by strips and 8.1 dKH by drops an hour apart: each names the other."""
    drops = record(stage, "8.1 dKH", 2.0, "--method", "drops")
    strips = record(stage, "9.6 dKH", 2.05, "--method", "strips")
    later = record(stage, "8.1 dKH", 0.5, "--method", "drops")
    marks = {row["id"]: row["marks"] for row in listed(stage, "values")}

    assert ["confirmed", "unlike 9.60 dKH by strips"] == marks[drops]
    assert ["confirmed", "unlike 8.10 dKH by drops"] == marks[strips]
    assert ["confirmed"] == marks[later]


def test_methods_within_their_noise_are_not_marked(stage: Stage) -> None:
    """0.6 dKH lie within three errors of two tests at home, 0.64."""
    record(stage, "8.1 dKH", 2.0, "--method", "drops")
    record(stage, "8.7 dKH", 2.0, "--method", "strips")

    assert [["confirmed"]] * 2 == [row["marks"] for row in listed(stage, "values")]


def test_a_series_that_repeats_itself_makes_no_outliers(stage: Stage) -> None:
    """A tenth of a degree more is within what tests differ by."""
    for number in range(7):
        record(stage, "8.1 dKH", 9 - number)
    record(stage, "8.2 dKH", 1)

    assert [] == [r for r in listed(stage, "values") if "outlier" in str(r["marks"])]


def test_probes_are_told_by_the_day(tmp_path: Path) -> None:
    """The median with its range, and a day that stands out; 2.91 meq/L is 8.16 dKH."""
    noon = SystemClock().now().utc.replace(hour=12) - timedelta(days=10)
    first = replace(made(), at=noon, boot_s=0.0, proven_ms=0)
    taken = [
        (noon + timedelta(days=day, minutes=30 * n), 2.9 + 0.8 * (day == 5) + 0.01 * n)
        for day in range(8)
        for n in range(3)
    ]
    (tmp_path / "state").mkdir()
    with LedgerFile.create(tmp_path / "state" / LIVE_NAME, first) as ledger:
        ledger.append(
            [
                ReadingKept(
                    at=at,
                    boot_s=0.0,
                    proven_ms=0,
                    tank="reef",
                    probe="kh",
                    parameter="alkalinity",
                    value=value,
                    taken_at=at,
                )
                for at, value in taken
            ]
        )
    stage = Stage(SMALLEST, tmp_path / "state")
    days = listed(stage, "probe_days")
    page = " ".join(stage.run("history", "alkalinity").out.split())

    assert 8 == len(days)
    assert [3] * 8 == [day["count"] for day in days]
    assert [5] == [n for n, day in enumerate(days) if day["marks"]]
    assert "3 readings, 8.13 dKH to 8.19 dKH" in page
    assert "8.16 dKH probe kh" in page


def test_no_value_is_said(stage: Stage) -> None:
    """And how to write one down."""
    page = stage.run("history", "potassium").out

    assert "No value of potassium in reef within 28 days." in page
    assert "slackwater record potassium=" in page


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("potasium",),
        ("alkalinity", "--days", "0"),
        ("alkalinity", "--days", "4000"),
        ("alkalinity", "--tank", "frag"),
    ],
)
def test_bad_input_is_one_clear_error(stage: Stage, words: tuple[str, ...]) -> None:
    """Exit code 2 and four words."""
    told = stage.run("history", *words, "--json")

    assert 2 == told.code
    assert all(all(error.values()) for error in told.errors)


def test_looking_back_writes_nothing(stage: Stage) -> None:
    """Neither ledger nor folder changes."""
    record(stage, "8.1 dKH", 1)
    before = {path: path.read_bytes() for path in stage.state.iterdir()}
    stage.run("history", "alkalinity")

    assert before == {path: path.read_bytes() for path in stage.state.iterdir()}
