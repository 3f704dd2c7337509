"""Every reason has its way out, and a latched hold needs a person."""

import pytest

from slackwater.facts.reasons import Code
from slackwater.facts.releases import RELEASES, way_out


def test_every_reason_has_a_way_out() -> None:
    """One sentence each, and most a sentence of their own."""
    assert [] == [code for code in Code if not way_out(code).endswith(".")]
    assert len(RELEASES) > 0.9 * len(Code)


def test_what_else_a_person_must_do_is_said_of_a_latched_hold_too() -> None:
    """A climb comes back within its day, a backup must be looked at first."""
    climb = way_out(Code.ALKALINITY_CLIMB, is_latched=True)
    assert climb.endswith("Sooner than a day after the climb it comes back.")
    told = way_out(Code.LEDGER_RESTORED, is_latched=True)
    assert told.startswith("A person looks at plan and holds anew.")


@pytest.mark.parametrize("code", [Code.ALKALINITY_CEILING, Code.NODE_HELD, Code.LEAK])
def test_what_is_latched_needs_a_person(code: Code) -> None:
    """Whatever would end its cause."""
    assert "slackwater release" in way_out(code, is_latched=True)
    assert RELEASES[code] == way_out(code)
