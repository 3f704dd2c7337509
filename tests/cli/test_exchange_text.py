"""How a pair of pumps stands, in a status."""

from pathlib import Path

import pytest

from slackwater.cli.exchange_text import exchange_documents, exchange_lines
from tests.cli.run_program import CONFIG
from tests.cli.stage import stage_of
from tests.turn.pairs import Pair, paired


@pytest.mark.parametrize(
    ("taken", "expected"),
    [(1.0, "as much as went out"), (1.06, "60 mL more"), (0.94, "60 mL less")],
)
def test_a_pair_tells_what_it_moved_and_how_far_it_may_be_off(
    taken: float, expected: str
) -> None:
    """One litre by ten portions; the waste container shows more, or less, than that."""
    pair = Pair()
    pair.factors["a"] = taken
    pair.until(24)
    pair.read_levels(5_000)
    (line,) = exchange_lines(paired(), pair.state)
    assert line.startswith("Water  water: 1 L came in, ")
    assert expected in line
    assert line.endswith("the pair rests at 600 mL (slackwater level)")
    (told,) = exchange_documents(paired(), pair.state)
    assert round((taken - 1) * 1_000_000) == told["drained_more_ul"]
    assert (1_000_000, 1_000_000, 600_000, "rest") == (
        told["drained_ul"],
        told["filled_ul"],
        told["most_ul"],
        told["phase"],
    )


def test_a_pair_that_never_ran_has_nothing_to_tell(tmp_path: Path) -> None:
    """Neither on the page nor in the document."""
    stage = stage_of(tmp_path, CONFIG / "exchange")
    assert 0 == stage.approve("--now", highest="6 L").code
    assert [] == stage.run("status", "--json").document["exchanges"]
    assert "Water  " not in stage.run("status").out
