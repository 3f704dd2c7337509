"""`water-change`: predicted steps, announcements, batches and corrections.

Figures by hand from C1 = C0 (1 - f) + Cn f: 40 L of 200 L at 9.5 dKH lift 8.0 dKH by
0.2 * 1.5 = 0.3 dKH.
"""

import json
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import ReadingKept
from slackwater.facts.waters import WaterChanged
from tests.cli.run_program import Outcome
from tests.cli.stage import Stage, stage_of

MEQ_PER_DKH = 20 / 56.077


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger and two tests."""
    made = stage_of(tmp_path)
    assert 0 == made.run("record", "alkalinity=8.0 dKH", "calcium=400 mg/L").code
    return made


def change(stage: Stage, *words: object) -> Outcome:
    """Run the verb with a document as its answer."""
    return stage.run("water-change", "--json", "--by", "keeper", *words)


def changed(stage: Stage, *words: object) -> str:
    """Write down a change, and give its id."""
    told = change(stage, *words)
    assert 0 == told.code, told.out
    found = told.document["water_change"]
    assert isinstance(found, dict)
    return str(found["id"])


def changes(stage: Stage) -> list[WaterChanged]:
    """Every change in the ledger."""
    return [one for one in stage.events() if isinstance(one, WaterChanged)]


def ahead(stage: Stage, passed: timedelta) -> tuple[str, str]:
    """The option for a time so far ahead."""
    return "--at", f"{stage.stamp()['at'] + passed:%Y-%m-%dT%H:%M}Z"


def test_says_how_far_each_level_will_move(stage: Stage) -> None:
    """Alkalinity up by 0.3 dKH, calcium by 0.2 * 40 = 8 mg/L."""
    words = ("--new", "alkalinity=9.5 dKH", "--new", "calcium=440 mg/L")
    page = stage.run("water-change", "40", "L", *words).out
    (one,) = changes(stage)

    assert "40 L of 200 L (20%)" in page
    assert "+0.3 dKH" in page
    assert "8.30 dKH" in page
    assert "+8 mg/L" in page
    assert {"alkalinity": 0.3 * MEQ_PER_DKH, "calcium": 8.0} == {
        name: pytest.approx(step, rel=1e-4) for name, step in one.steps.items()
    }
    assert (40_000_000, "reef") == (one.volume_ul, one.tank)


def test_only_what_is_known_in_both_waters_is_foretold(stage: Stage) -> None:
    """The rest is named."""
    page = stage.run("water-change", "40 L", "--new", "nitrate=0 mg/L NO3").out
    (one,) = changes(stage)

    assert {} == one.steps
    assert "the new water was not tested: alkalinity, calcium" in page
    assert "no test of the tank before it: nitrate" in page


def test_a_probe_counts_where_it_is_newer_than_the_test(stage: Stage) -> None:
    """8.4 dKH by the probe: 0.2 * (9.5 - 8.4) = 0.22 dKH."""
    stamp = stage.stamp()
    stage.append(
        ReadingKept(
            **stamp,
            tank="reef",
            probe="kh",
            parameter="alkalinity",
            value=8.4 * MEQ_PER_DKH,
            taken_at=stamp["at"],
        )
    )
    changed(stage, "40 L", "--new", "alkalinity=9.5 dKH")

    assert 0.22 * MEQ_PER_DKH == pytest.approx(
        changes(stage)[0].steps["alkalinity"], rel=1e-4
    )


def test_the_next_change_starts_where_the_last_one_led(stage: Stage) -> None:
    """8.0 to 8.3, then 0.2 * (9.5 - 8.3) = 0.24 dKH; a new test begins anew."""
    new = ("--new", "alkalinity=9.5 dKH")
    changed(stage, "40 L", *new)
    changed(stage, "40 L", *new, "--confirm")
    stage.run("record", "alkalinity=8.0 dKH")
    changed(stage, "40 L", *new, "--confirm")

    assert [0.3, 0.24, 0.3] == pytest.approx(
        [one.steps["alkalinity"] / MEQ_PER_DKH for one in changes(stage)], rel=1e-3
    )


def test_an_announced_change_lies_ahead(stage: Stage) -> None:
    """Said before it is poured, at most two weeks."""
    words = ("40 L", "--new", "alkalinity=9.5 dKH")
    told = change(stage, *words, *ahead(stage, timedelta(hours=3)))
    page = stage.run("water-change", *words, *ahead(stage, timedelta(hours=4))).out
    late = change(stage, *words, *ahead(stage, timedelta(days=15)))
    found = told.document["water_change"]

    assert isinstance(found, dict)
    assert found["announced"] is True
    assert page.startswith("Announced for reef")
    assert "holds no doses" in page
    assert (2, "--at") == (late.code, late.errors[0]["where"])
    assert ["w"] * 2 == [name[0] for name in stage.folded().changes]


def test_a_batch_remembers_its_tests(stage: Stage) -> None:
    """Tested once, used twice; what is tested anew counts."""
    changed(stage, "40 L", "--batch", "may-2", "--new", "alkalinity=9.5 dKH")
    changed(stage, "20 L", "--batch", "may-2", "--new", "calcium=430 mg/L")
    changed(stage, "20 L", "--batch", "may-2", "--confirm", "--new", "alkalinity=9 dKH")
    changed(stage, "20 L", "--batch", "june-1", "--confirm")
    levels = [one.levels for one in changes(stage)]

    assert levels[1]["alkalinity"] == levels[0]["alkalinity"]
    assert 9 * MEQ_PER_DKH == pytest.approx(levels[2]["alkalinity"], rel=1e-4)
    assert 430 == levels[2]["calcium"]
    assert {} == levels[3]


def test_a_correction_keeps_what_is_not_said_anew(stage: Stage) -> None:
    """The time, the batch and its tests; the step follows the new volume."""
    at = ahead(stage, timedelta(hours=3))
    wrong = changed(
        stage, "40 L", "--batch", "may-2", "--new", "alkalinity=9.5 dKH", *at
    )
    right = changed(stage, "20 L", "--correct", wrong)
    old, new = changes(stage)

    assert (wrong, old.changed_at, "may-2") == (
        new.supersedes,
        new.changed_at,
        new.batch,
    )
    assert old.steps["alkalinity"] / 2 == pytest.approx(new.steps["alkalinity"])
    assert [right] == list(stage.folded().changes)


def test_a_change_is_called_off(stage: Stage) -> None:
    """It explains nothing any more, and cannot be called off twice."""
    wrong = changed(stage, "40 L", *ahead(stage, timedelta(hours=3)))
    told = stage.run("water-change", "--cancel", wrong)
    again = change(stage, "--cancel", wrong)
    corrected = change(stage, "40 L", "--correct", wrong)

    assert f"Called off: {wrong}." in told.out
    assert {} == stage.folded().changes
    assert [1, 1] == [again.code, corrected.code]
    (off,) = [one for one in changes(stage) if not one.volume_ul]
    for refused in (again, corrected):
        (error,) = refused.errors
        assert f"{wrong} was called off" == error["what"]
        assert off.id not in json.dumps(error)
    assert 2 == change(stage, "--cancel", off.id).code


def test_a_step_above_the_ceiling_is_warned_of(stage: Stage) -> None:
    """All of the water at 15 dKH: above the ceiling of 9.5."""
    words = ("200 L", "--new", "alkalinity=15 dKH", "--confirm")
    page = stage.run("water-change", *words).out

    assert "above the ceiling of 9.50 dKH: doses will be held" in page


def test_more_than_half_of_the_water_is_asked_about(stage: Stage) -> None:
    """A slip of the hand looks like it; half is written down as it is."""
    before = stage.events()
    asked = change(stage, "100.001 L")
    (error,) = asked.errors

    assert 2 == asked.code
    assert before == stage.events()
    assert ("water-change", True) == (error["where"], "of 200 L" in error["what"])
    assert "add --confirm" in error["do"]
    assert [0, 0] == [
        change(stage, "100 L").code,
        change(stage, "100.001 L", "--confirm").code,
    ]


def test_a_correction_to_more_than_half_is_asked_about(stage: Stage) -> None:
    """And what is more than the tank holds is not asked about: it is refused."""
    wrong = changed(stage, "40 L")
    asked = change(stage, "190 L", "--correct", wrong)
    impossible = change(stage, "201 L", "--confirm")

    assert (2, [wrong]) == (asked.code, list(stage.folded().changes))
    assert (2, True) == (
        impossible.code,
        "cannot be changed" in impossible.errors[0]["what"],
    )
    assert 0 == change(stage, "190 L", "--correct", wrong, "--confirm").code


def test_old_tests_are_named_as_such(tmp_path: Path) -> None:
    """Two weeks and a day: the level may be anything by now."""
    stage = stage_of(tmp_path)
    then = stage.stamp()["at"] - timedelta(days=15)
    stage.run("record", "alkalinity=8 dKH", "--at", f"{then:%Y-%m-%dT%H:%M}Z")
    page = stage.run("water-change", "40 L", "--new", "alkalinity=9.5 dKH").out

    assert "Foretold from old tests, so look again: alkalinity." in page


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "no volume is given"),
        (("40",), "has no unit"),
        (("0 L",), "cannot be changed in reef"),
        (("200.001 L",), "cannot be changed in reef"),
        (("40 L", "--new", "alkalinity"), "is not a name with a value"),
        (("40 L", "--new", "alkalinity=90 dKH"), "not a plausible alkalinity"),
        (
            ("40 L", "--new", "calcium=400 mg/L", "--new", "calcium=430 mg/L"),
            "given twice",
        ),
        (("40 L", "--correct", "w-1"), 'called "w-1"'),
        (("--cancel", "w-1"), 'called "w-1"'),
        (("40 L", "--cancel", "w-1"), "both given"),
        (("--cancel", "w-1", "--batch", "x"), "with something else"),
        (("40 L", "--batch", " "), "the name is empty"),
        (("--cancel", "w-1", "--confirm"), "with something else"),
        (("40 L", "--at", "2020"), '"2020" is not a time'),
        (("40 L", "--at", "1999-05-03 09:30"), "before the year 2000"),
    ],
)
def test_bad_input_is_told_and_nothing_is_written(
    stage: Stage, words: tuple[str, ...], said: str
) -> None:
    """Exit code 2, findings in four words, the ledger as it was."""
    before = stage.events()
    told = change(stage, *words)

    assert 2 == told.code
    assert said in " ".join(error["what"] for error in told.errors)
    assert all(all(error.values()) for error in told.errors)
    assert before == stage.events()


def test_a_test_after_the_change_is_not_what_it_started_from(stage: Stage) -> None:
    """Told at night of a change at noon: the test of the evening has it already."""
    now = stage.stamp()["at"]
    for level, hours in ((7.0, 9), (8.1, 2), (8.2, 1)):
        at = f"{now - timedelta(hours=hours):%Y-%m-%dT%H:%M}Z"
        assert 0 == stage.run("record", f"alkalinity={level} dKH", "--at", at).code
    at = f"{now - timedelta(hours=5):%Y-%m-%dT%H:%M}Z"
    told = stage.run("water-change", "40 L", "--new", "alkalinity=9.0 dKH", "--at", at)

    assert 0 == told.code
    # A fifth of 200 L: 7.0 + 0.2 * 2.0.
    assert "+0.4 dKH" in told.out
    assert "7.40 dKH" in told.out


def test_of_forty_untested_values_the_first_are_named(stage: Stage) -> None:
    """What moves animals, and how many more there are."""
    names = ("alkalinity=8 dKH", "calcium=420 mg/L", "magnesium=1300 mg/L")
    more = ("barium", "zinc", "nickel", "lithium", "vanadium", "arsenic")
    stage.run("record", *names, *(f"{name}=1 ug/L" for name in more))
    told = stage.run("water-change", "40 L").out
    line = next(one for one in told.splitlines() if "not tested" in one)

    assert "tested: alkalinity, calcium, magnesium, arsenic, barium, lithium" in line
    assert line.endswith("and 3 more.")


def test_what_cannot_be_confirmed_does_not_ask_for_it(stage: Stage) -> None:
    """New water of 30 dKH: --confirm is for the volume alone."""
    told = stage.run("water-change", "40 L", "--new", "alkalinity=30 dKH", "--json")

    assert 2 == told.code
    assert "confirm" not in told.errors[0]["do"]
