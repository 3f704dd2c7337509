"""`record`: what kits print, kits that are off, and what a value is compared with."""

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.cli.opening import opened
from slackwater.ledger.history import read_history
from tests.cli.run_program import run
from tests.cli.stage import Stage, stage_of
from tests.cli.test_record import record, recorded, written_in


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


@pytest.mark.parametrize(
    ("word", "advice"),
    [
        ("calcium=418 ppm", 'Did you mean "mg/L"? Most kits mean it'),
        ("copper=2 ppb", 'Did you mean "ug/L"?'),
        ("salinity=35 ppt", 'Did you mean "PSU"? The scale of a refractometer'),
        ("ph=8.2", 'Write the unit behind it, as in ph="8.2 pH".'),
        ("ph=8.2 NBS", 'Did you mean "pH"?'),
        ("phosphate=0.05 mg/L P", 'Did you mean "mg/L PO4-P"?'),
        ("nitrate=1.2 mg/L N", 'Did you mean "mg/L NO3-N"?'),
        ("temperature=25°", 'Did you mean "degC"?'),
        ("alkalinity=2.8 mmol/L", 'Did you mean "meq/L"?'),
        ("calcium=418", 'Write the unit behind it, as in calcium="418 mg/L" where'),
        ("KH=8.1 dKH", 'Did you mean "alkalinity"?'),
        ("Mg=1300 mg/L", 'Did you mean "magnesium"?'),
    ],
)
def test_what_kits_print_is_asked_about_and_never_guessed(
    stage: Stage, word: str, advice: str
) -> None:
    """The question names what was probably meant; nothing is written."""
    told = record(stage, word)

    assert 2 == told.code
    assert advice in told.errors[0]["do"]
    assert [] == written_in(stage)


@pytest.mark.parametrize(
    ("word", "salinity"),
    [
        ("salinity=35 PSU", 35.0),
        # UNESCO 44 and EOS-80, as tests/water compares them with gsw.
        ("salinity=1.02637 SG 25/25", 35.0),
        ("salinity=53.07 mS/cm at 25 degC", 35.0),
    ],
)
def test_salinity_is_taken_in_the_form_of_the_instrument(
    stage: Stage, word: str, salinity: float
) -> None:
    """A hydrometer or a meter: what was typed is kept beside it."""
    assert 0 == record(stage, word).code
    (kept,) = written_in(stage)
    assert pytest.approx(salinity, abs=0.02) == kept.value
    assert word.partition("=")[2] == kept.typed


def test_a_kit_that_is_far_off_needs_a_second_look(stage: Stage) -> None:
    """4 dKH too low is a slip of the hand or a dead kit: confirmed or nothing."""
    words = ("--standard", "alkalinity=7 dKH", "--found", "3 dKH", "--method", "drops")
    told = record(stage, *words)
    confirmed = record(stage, *words, "--confirm")

    assert (2, 0) == (told.code, confirmed.code)
    assert "over 30% away from the standard" in told.errors[0]["what"]


def test_a_trial_of_a_kit_can_be_struck(stage: Stage) -> None:
    """What it said of the kit no longer counts; once is enough."""
    words = ("--standard", "alkalinity=7 dKH", "--found", "7.3 dKH", "--method", "d")
    trial = record(stage, *words).document["standard"]
    assert isinstance(trial, dict)
    strike = ("--strike", trial["id"], "--why", "old standard")

    def standards() -> list[str]:
        with opened(stage.state) as found:
            since = found.now.utc - timedelta(days=9)
            past = read_history(found.ledger, "reef", since, found.now.utc)
        return [one.id for one in past.standards]

    before = standards()
    first, second = record(stage, *strike), record(stage, *strike)

    assert ([trial["id"]], []) == (before, standards())
    assert (0, 1) == (first.code, second.code)


def test_the_test_before_is_known_again_after_a_slip_was_struck(stage: Stage) -> None:
    """A typed 560 is struck: the next calcium is compared with the 418 before it."""
    assert 0 == record(stage, "calcium=418 mg/L").code
    assert 0 == record(stage, "calcium=560 mg/L", "--confirm").code
    slip = written_in(stage)[-1].id
    record(stage, "--strike", slip, "--why", "mistyped")
    told = record(stage, "calcium=600 mg/L")

    assert 2 == told.code
    assert "within 78 mg/L of 418 mg/L" in told.errors[0]["expected"]


def test_a_laboratorys_phosphate_is_not_what_a_kit_is_compared_with(
    stage: Stage,
) -> None:
    """A plasma counts all phosphorus: four times the kit is no jump of the kit."""
    assert 0 == record(stage, "phosphate=0.05 mg/L PO4").code
    kept = written_in(stage)[0]
    stage.append(
        replace(
            kept,
            **stage.stamp(),
            id="m-lab",
            value=0.20,
            provenance="lab",
            method="total phosphorus",
            taken_at=stage.stamp()["at"],
        )
    )

    assert 0 == record(stage, "phosphate=0.05 mg/L PO4").code
    assert 2 == record(stage, "phosphate=0.5 mg/L PO4").code


def test_help_says_why_a_method_is_told() -> None:
    """With the option itself, and in every example that writes a new test down."""
    text = " ".join(run("record", "--help").out.split())
    assert "a trend is drawn within one method only" in text
    examples = text.partition("Examples: ")[2].split(";")
    new = [one for one in examples if not re.search("--(correct|strike)", one)]
    assert len(new) >= 3
    assert all("--method" in one for one in new)


@pytest.mark.parametrize(
    ("typed", "meant"), [("5.9", "8.9"), ("8.0", "9.2")], ids=["a jump", "a replicate"]
)
def test_a_mistyped_test_before_is_named_with_both_ways_out(
    stage: Stage, typed: str, meant: str
) -> None:
    """Either of the two may be the wrong one; how far apart they are is no matter."""
    at = ("--at", "2026-05-03 09:30")
    wrong = recorded(stage, f"alkalinity={typed} dKH", *at)
    told = record(stage, f"alkalinity={meant} dKH", *at)

    assert (2, 1) == (told.code, len(told.errors))
    assert f"{typed}0 dKH" in " ".join(told.errors[0].values())
    for way in (f"--correct {wrong}", f"--strike {wrong} --why", "--confirm"):
        assert way in told.errors[0]["do"]
    recorded(stage, f"alkalinity={meant} dKH", "--correct", wrong)


@pytest.mark.parametrize(
    ("at", "lot", "meant"),
    [
        ("2026-05-03 09:30", "1", "4.9"),
        ("2026-05-10 09:30", "1", "4.9"),
        ("2026-05-03 09:30", "2", "9.2"),
    ],
    ids=["as it was", "on another day", "a replicate of the lot it will be"],
)
def test_a_correction_far_from_what_else_stands_is_asked_about(
    stage: Stage, at: str, lot: str, meant: str
) -> None:
    """Whoever mistyped once may do so twice; the wrong test itself is no witness."""
    kit = ("--method", "drops")
    first = recorded(
        stage, "alkalinity=8.1 dKH", *kit, "--lot", "2", "--at", "2026-05-03 09:20"
    )
    wrong = recorded(
        stage, "alkalinity=8.4 dKH", *kit, "--lot", "1", "--at", "2026-05-03 09:30"
    )
    words = (f"alkalinity={meant} dKH", "--lot", lot, "--at", at, "--correct", wrong)
    told = record(stage, *words)

    assert (2, 1) == (told.code, len(told.errors))
    assert "8.10 dKH" in " ".join(told.errors[0].values())
    assert f"--correct {first}" in told.errors[0]["do"]
    assert 2 == len(written_in(stage))
    recorded(stage, *words, "--confirm")


def test_what_a_laboratory_measured_after_the_post_is_corrected_unasked(
    stage: Stage,
) -> None:
    """Its alkalinity is of another water than a kit's of that day."""
    recorded(stage, "alkalinity=8.1 dKH", "--at", "2026-05-03 09:20")
    own = written_in(stage)[0]
    stage.append(replace(own, id="m-lab", provenance="lab", value=7.9))

    recorded(stage, "alkalinity=5.4 dKH", "--correct", "m-lab")


def test_why_a_test_was_corrected_is_its_note(stage: Stage) -> None:
    """Whoever may say why one is struck says why one is corrected; once is enough."""
    wrong = recorded(stage, "alkalinity=5.9 dKH")
    words = ("alkalinity=8.9 dKH", "--correct", wrong, "--why", "mistyped")
    twice = record(stage, *words, "--note", "drops")

    assert (2, "--why has no meaning here") == (twice.code, twice.errors[0]["what"])
    recorded(stage, *words)
    assert ["mistyped"] == [one.note for one in written_in(stage) if one.supersedes]


def test_a_kit_on_pure_water_shows_its_bias(stage: Stage) -> None:
    """A standard without any of it: the bias has a figure and no share."""
    words = ("--standard", "nitrate=0 mg/L", "--found", "0.5 mg/L", "--method", "drops")
    told = stage.run("record", *words, "--confirm")
    assert (0, "") == (told.code, told.err)
    assert "The kit (drops) reads 0.5 mg/L too high.\n" in told.out
