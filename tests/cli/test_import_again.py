"""`import` of what came in before, and a report that is taken out again."""

from pathlib import Path
from secrets import token_hex

import pytest

from slackwater.facts.waters import (
    MeasurementKept,
    MeasurementStruck,
    ReportImported,
)
from tests.cli.stage import Stage, stage_of
from tests.cli.test_import import SMALL, at, file, measured


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def test_a_report_that_was_struck_may_come_again(stage: Stage) -> None:
    """Not while one of its values stands."""
    words = ("import", file(stage, SMALL), "--sampled-at", at(stage))
    stage.run(*words)
    *most, last = measured(stage)
    for one in most:
        stage.append(strike(stage, one))
    assert 1 == stage.run(*words).code
    stage.append(strike(stage, last))
    assert 0 == stage.run(*words).code


def strike(stage: Stage, one: MeasurementKept) -> MeasurementStruck:
    """A value that should not be there."""
    return MeasurementStruck(
        **stage.stamp(), measurement=one.id, by="keeper", why="wrong tank"
    )


def test_a_report_that_comes_in_meanwhile_is_not_stored_twice(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another hand stores it between the look and the append: it is decided anew."""
    words = ("import", file(stage, SMALL), "--sampled-at", at(stage))
    others = list[int]()

    def chance(count: int) -> str:
        # The first id is drawn after the ledger was looked through.
        if not others:
            others.append(-1)
            others.append(stage.run(*words, "--by", "another").code)
        return token_hex(count)

    monkeypatch.setattr("slackwater.cli.typed.token_hex", chance)
    told = stage.run(*words, "--json", "--by", "keeper")
    reports = [one for one in stage.events() if isinstance(one, ReportImported)]

    assert (0, 1) == (others[1], told.code)
    assert "this report came in on" in told.errors[0]["what"]
    assert ["another"] == [one.by for one in reports]
    assert len(SMALL.splitlines()) - 1 == len(measured(stage))


def test_an_append_that_is_no_report_only_makes_it_look_again(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A test that is written down in between stays, and so does the report."""
    others = list[int]()

    def chance(count: int) -> str:
        if not others:
            others.append(-1)
            others.append(stage.run("record", "potassium=400 mg/L", "--by", "x").code)
        return token_hex(count)

    monkeypatch.setattr("slackwater.cli.typed.token_hex", chance)
    told = stage.run("import", file(stage, SMALL), "--sampled-at", at(stage))
    kept = [one.provenance for one in measured(stage)]

    assert (0, 0) == (others[1], told.code)
    assert ["hand", *("lab" for _ in SMALL.splitlines()[1:])] == kept


def test_a_wrong_report_is_struck_whole(stage: Stage) -> None:
    """By the digits that were printed; what is struck already is left alone."""
    words = ("import", file(stage, SMALL), "--sampled-at", at(stage))
    digits = stage.run(*words).out.split("report ")[-1].split(".")[0]
    first, *others = measured(stage)
    stage.append(strike(stage, first))
    told = stage.run("import", "--strike", digits, "--why", "frag tank", "--by", "me")
    struck = [one for one in stage.events() if isinstance(one, MeasurementStruck)]

    assert 0 == told.code
    assert f"Struck: {len(others)} values of report {digits}" in told.out
    assert [one.id for one in others] == [one.measurement for one in struck[1:]]
    assert {("me", "frag tank")} == {(one.by, one.why) for one in struck[1:]}
    assert {} == stage.folded().levels
    assert 0 == stage.run(*words).code


def test_a_report_is_struck_once(stage: Stage) -> None:
    """Then nothing of it stands any more."""
    stage.run("import", file(stage, SMALL), "--sampled-at", at(stage))
    digits = measured(stage)[0].report
    words = ("import", "--strike", digits, "--why", "x", "--json")
    first, second = stage.run(*words), stage.run(*words)

    assert (0, 1) == (first.code, second.code)
    assert len(measured(stage)) == len(first.document["struck"]["values"])  # type: ignore[index]  # a mapping
    assert "nothing of report.csv stands any more" == second.errors[0]["what"]


def test_a_report_with_a_corrected_value_is_struck_whole_too(stage: Stage) -> None:
    """What a correction took the place of stands as little as what was struck."""
    words = ("import", file(stage, SMALL), "--sampled-at", at(stage))
    digits = stage.run(*words).out.split("report ")[-1].split(".")[0]
    first = measured(stage)[0]
    corrected = stage.run("record", "calcium=415 mg/L", "--correct", first.id)
    struck = stage.run("import", "--strike", digits, "--why", "another tank")

    assert (0, 0) == (corrected.code, struck.code)
    assert 0 == stage.run(*words).code


def test_the_limits_of_a_struck_report_count_no_more(stage: Stage) -> None:
    """Another tank's report says 50 ug/L is the least it sees: 5 stays a finding."""
    head = "Element;Value;Unit;LOQ"
    own = file(stage, f"{head}\nMn;5;ug/L;0.5\n", "own.csv")
    other = file(stage, f"{head}\nMn;1;ug/L;50\nCa;430;mg/L;1\n", "other.csv")
    stage.run("import", own, "--sampled-at", at(stage, 10))
    alone = traces(stage)
    digits = stage.run("import", other, "--sampled-at", at(stage)).out
    stage.run("import", "--strike", digits.split("report ")[-1][:12], "--why", "x")

    assert 1.5 == alone["watch"]
    assert alone == traces(stage)


def traces(stage: Stage) -> dict[str, object]:
    """How manganese is judged, but for what a second takes."""
    told = stage.run("assess", "--json", "--by", "keeper").document["traces"]
    found: dict[str, object] = told["manganese"]  # type: ignore[index]  # a mapping
    return {name: one for name, one in found.items() if name != "age_days"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "no file is named"),
        (("report.csv", "--strike", "abcdef"), "--strike and a file are given"),
        (("--strike", "abcdef"), "no reason is given"),
        (("report.csv", "--why", "x"), "--why has no meaning here"),
        (("--strike", "abcdef", "--why", "x"), 'no report is called "abcdef"'),
        (("--strike", "", "--why", "x"), 'no report is called ""'),
    ],
)
def test_what_to_strike_must_be_clear(
    stage: Stage, words: tuple[str, ...], said: str
) -> None:
    """Exit code 2, the reports that came in, and nothing written."""
    stage.run("import", file(stage, SMALL), "--sampled-at", at(stage))
    before = len(stage.events())
    told = stage.run("import", *words, "--json")

    assert (2, said) == (told.code, told.errors[0]["what"])
    assert before == len(stage.events())


def test_a_report_that_came_in_says_how_to_strike_it(stage: Stage) -> None:
    """The line to type, with its own digits."""
    words = ("import", file(stage, SMALL), "--sampled-at", at(stage))
    stage.run(*words)
    told = stage.run(*words, "--json").errors[0]["do"]

    assert f"slackwater import --strike {measured(stage)[0].report[:12]}" in told
