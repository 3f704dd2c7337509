"""Every reason has its way out, and a latched hold needs a person."""

import pytest

from slackwater.facts.reasons import Code
from slackwater.facts.releases import RELEASES, way_out


def test_every_reason_has_a_way_out() -> None:
    """One sentence each, and most a sentence of their own."""
    assert [] == [code for code in Code if not way_out(code).endswith(".")]
    assert len(RELEASES) > 0.9 * len(Code)


@pytest.mark.parametrize("code", [Code.ALKALINITY_CEILING, Code.NODE_HELD, Code.LEAK])
def test_what_is_latched_needs_a_person(code: Code) -> None:
    """Whatever would end its cause."""
    assert "slackwater release" in way_out(code, is_latched=True)
    assert RELEASES[code] == way_out(code)
