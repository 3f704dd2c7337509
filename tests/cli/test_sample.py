"""`sample` and `event`: moments worth remembering, on a real ledger."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import get_args

import pytest

from slackwater.cli.commands.noting import KINDS, LENGTH, LETTERS
from slackwater.facts.waters import (
    HusbandryNoted,
    MeasurementKept,
    SampleTaken,
    What,
)
from tests.cli.run_program import Outcome
from tests.cli.stage import Stage, stage_of


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


def sample(stage: Stage, *words: object) -> Outcome:
    """Take a sample with a document as its answer."""
    return stage.run("sample", "--json", "--by", "keeper", *words)


def samples(stage: Stage) -> list[SampleTaken]:
    """Every sample in the ledger."""
    return [one for one in stage.events() if isinstance(one, SampleTaken)]


def test_the_id_can_be_read_from_a_wet_bottle(stage: Stage) -> None:
    """Short, no letters that look alike, and another one each time."""
    pages = [stage.run("sample").out for _ in range(3)]
    names = [one.sample for one in samples(stage)]

    assert 3 == len(set(names))
    for page, name in zip(pages, names, strict=True):
        assert f"Sample {name} of reef" in page
        assert (2 + LENGTH, "S-") == (len(name), name[:2])
        assert set(name[2:]) <= set(LETTERS)
    assert set() == set("01OIL8BSZQG") & set(LETTERS)


def test_it_keeps_the_levels_and_the_plan_of_the_moment(stage: Stage) -> None:
    """36 mL a day of each pump, as the sample plan says."""
    stage.run("record", "alkalinity=8 dKH", "calcium=418 mg/L")
    assert 0 == stage.approve("--now").code
    told = sample(stage, "--note", "before the change")
    (taken,) = samples(stage)

    assert 0 == told.code
    assert {"alkalinity", "calcium"} == set(taken.levels)
    assert 418 == taken.levels["calcium"]
    assert {"carbonate": 36_000, "calcium": 36_000} == taken.per_day_ul
    assert ("keeper", "before the change") == (taken.by, taken.note)


def test_what_was_tested_later_is_not_of_that_moment(stage: Stage) -> None:
    """A sample told afterwards has only what was known by then."""
    now = stage.stamp()["at"]
    for name, days in (("calcium=418 mg/L", 5), ("magnesium=1300 mg/L", 1)):
        at = f"{now - timedelta(days=days):%Y-%m-%dT%H:%M}Z"
        assert 0 == stage.run("record", name, "--at", at).code
    sample(stage, "--at", f"{now - timedelta(days=3):%Y-%m-%dT%H:%M}Z")
    (taken,) = samples(stage)

    assert {"calcium": 418.0} == taken.levels
    assert {} == taken.per_day_ul


def test_a_test_after_the_sample_hides_none_before_it(stage: Stage) -> None:
    """Told afterwards, with a newer test: the one of that moment is kept."""
    now = stage.stamp()["at"]
    for level, days in (("400", 5), ("420", 2), ("425", 1), ("430", 0)):
        at = f"{now - timedelta(days=days):%Y-%m-%dT%H:%M}Z"
        stage.run("record", f"calcium={level} mg/L", "--at", at)
    sample(stage, "--at", f"{now - timedelta(days=3):%Y-%m-%dT%H:%M}Z")
    (taken,) = samples(stage)

    assert {"calcium": 400.0} == taken.levels


def test_what_was_not_seen_is_shown_below_its_limit(stage: Stage) -> None:
    """And of a report's values only how many there are."""
    stage.run("record", "phosphate=<0.02 mg/L PO4")
    stage.run("record", "zinc=3 ug/L")
    (zinc,) = [
        one
        for one in stage.events()
        if isinstance(one, MeasurementKept) and one.parameter == "zinc"
    ]
    stage.append(
        replace(zinc, **stage.stamp(), id="m-lab", parameter="lead", provenance="lab")
    )
    told = stage.run("sample").out

    assert "<0.020 mg/L" in told
    assert "zinc" in told
    assert "lead" not in told
    assert "1 of laboratories" in told


@pytest.mark.parametrize("kind", get_args(What))
def test_every_kind_of_event_can_be_noted(stage: Stage, kind: What) -> None:
    """And each says what it means."""
    told = stage.run("event", kind, "--note", "six pieces", "--by", "keeper")
    (noted,) = [one for one in stage.events() if isinstance(one, HusbandryNoted)]

    assert KINDS[kind] in told.out
    assert (kind, "reef", "six pieces", "keeper") == (
        noted.what,
        noted.tank,
        noted.note,
        noted.by,
    )


def test_an_event_may_be_told_afterwards(stage: Stage) -> None:
    """On the tank's own clock."""
    told = stage.run("event", "light", "--at", "2026-05-03 09:30", "--json")
    (noted,) = [one for one in stage.events() if isinstance(one, HusbandryNoted)]

    assert 0 == told.code
    assert "2026-05-03T07:30:00+00:00" == noted.happened_at.isoformat()


@pytest.mark.parametrize(
    "words",
    [
        ("sample", "--at", "2036-05-03 09:30"),
        ("sample", "--tank", "frag"),
        ("sample", "--note", "x" * 201),
        ("sample", "surplus"),
        ("event",),
        ("event", "party"),
        ("event", "light", "--at", "tomorrow"),
        ("event", "other"),
        ("event", "other", "--note", "  "),
        ("event", "light", "--tank", "frag"),
        ("event", "light", "--by", "y" * 41),
    ],
)
def test_bad_input_is_told_and_nothing_is_written(
    stage: Stage, words: tuple[str, ...]
) -> None:
    """Exit code 2, one finding in four words, the ledger as it was."""
    before = stage.events()
    told = stage.run(*words, "--json")

    assert 2 == told.code
    assert all(all(error.values()) for error in told.errors)
    assert before == stage.events()
