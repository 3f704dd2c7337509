"""`setup` with a file of answers: all that is wrong with them is told at once."""

from pathlib import Path

from tests.cli.test_setup import ANSWERS, nothing_is_there, setup


def test_answers_of_a_file_are_told_all_at_once(tmp_path: Path) -> None:
    """A dose too small, one too large, one too long: nothing is written."""
    text = (
        ANSWERS.replace('per_day = "36 mL"', 'per_day = "3 mL"', 1)
        .replace('most_per_dose = "4 mL"', 'most_per_dose = "2 mL"')
        .replace('dosed = "0 mL"', 'dosed = "as planned"')
    )
    told = setup(tmp_path, text, "--json")
    assert (2, True) == (told.code, nothing_is_there(tmp_path))
    reasons = [one["expected"] for one in told.errors]
    assert any("what carbonate gives reliably" in one for one in reasons)
    assert any("[pump.calcium] most_per_dose allows" in one for one in reasons)
    wrong = text.replace('zone = "Europe/Berlin"', 'zone = "Berlin"').replace(
        'dosed = "12 mL"', 'dosed = "a lot"'
    )
    found = setup(tmp_path, wrong, "--json")
    assert (2, True) == (found.code, nothing_is_there(tmp_path))
    assert {"answers, for slackwater.toml [tank.reef] zone"} < {
        one["where"] for one in found.errors
    }
