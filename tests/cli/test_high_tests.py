"""An overdose that a test found, an older one beside it: every verb says the same.

The ceiling of the smallest sample is 9.5 dKH, common practice, no source.
"""

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.run_program import Outcome
from tests.cli.stage import Stage, stage_of

DAYS = 8
PAIR = "7.30 dKH and 11.20 dKH"
WARNING = "reef: alkalinity was tested at 11.20 dKH, above 9.50 dKH: nothing raises it"


def kept(stage: Stage, dkh: float, ago: timedelta) -> str:
    """Record alkalinity, seen and meant; the page."""
    now: datetime = stage.stamp()["at"]
    at = (now - ago).isoformat(timespec="seconds")
    words = (f"alkalinity={dkh:.2f} dKH", "--at", at, "--confirm", "--by", "keeper")
    told = stage.run("record", *words)
    assert 0 == told.code
    return told.out


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """Eight days on the way down to 7.4 dKH, and 7.3 of eleven minutes ago."""
    made = stage_of(tmp_path)
    made.nothing_dosed(DAYS + 1)
    for back in range(DAYS, 0, -1):
        kept(made, 7.3 + 0.1 * back, timedelta(days=back))
    kept(made, 7.3, timedelta(minutes=11))
    return made


def warned(told: Outcome) -> list[str]:
    """What an approval warns of."""
    found = told.document["warnings"]
    assert isinstance(found, list)
    return found


def one_line(text: str) -> str:
    """The words of a page, however it is wrapped."""
    return " ".join(text.split())


def test_no_mean_is_made_of_what_contradicts_itself(stage: Stage) -> None:
    """The keeper is told so at once."""
    told = one_line(kept(stage, 11.2, timedelta()))
    assert f"2 of alkalinity contradict each other, {PAIR}" in told
    assert "mean" not in told


def test_every_verb_sees_the_higher_one(stage: Stage) -> None:
    """Assessment, proposal, rehearsal and approval, as the daemon does."""
    kept(stage, 11.2, timedelta())
    page = one_line(stage.run("assess", "--by", "keeper").out)
    assert f"contradict each other, {PAIR}" in page
    assert "alkalinity dKH 11.20 ±" in page
    proposed = stage.run("propose").out
    assert "carbonate is held at 36 mL a day" in proposed
    rehearsed = one_line(stage.run("rehearse", "--days", "1").out)
    assert f"Warning: {WARNING}" in rehearsed
    assert "the daemon holds what raises it meanwhile" in rehearsed
    assert "Forecast reef alkalinity: 11.20 dKH now" in rehearsed
    (warning,) = warned(stage.approve())
    assert warning.startswith(WARNING)


def test_an_approval_that_stands_warns_too(stage: Stage) -> None:
    """Whoever asks again is told again."""
    assert [] == warned(stage.approve())
    kept(stage, 11.2, timedelta())
    again = stage.approve()
    assert again.document["approved"] is False
    assert [WARNING] == [one[: len(WARNING)] for one in warned(again)]


def test_what_the_plan_does_not_add_is_no_warning(stage: Stage) -> None:
    """Potassium of 470 mg/L, above 450, which no pump of this tank has."""
    assert 0 == stage.run("record", "potassium=470 mg/L", "--by", "keeper").code
    assert "potassium was tested at" not in one_line(
        stage.run("rehearse", "--days", "1").out
    )
    assert [] == warned(stage.approve())


def test_calcium_above_its_bound_warns_without_the_gate(stage: Stage) -> None:
    """510 mg/L: what the daemon holds by tests is alkalinity alone."""
    assert 0 == stage.run("record", "calcium=510 mg/L", "--by", "keeper").code
    (warning,) = warned(stage.approve())
    assert "reef: calcium was tested at 510 mg/L, above 500 mg/L" in warning
    assert "daemon" not in warning
