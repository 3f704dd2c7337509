"""Every reason has its way out, and a latched hold needs a person."""

import pytest

from slackwater.facts.reasons import Code
from slackwater.facts.releases import RELEASES, way_out


def test_every_reason_has_a_way_out() -> None:
    """One sentence each; none is left without."""
    assert set(Code) == set(RELEASES)
    assert [] == [text for text in RELEASES.values() if not text.endswith((".", "`."))]


@pytest.mark.parametrize("code", [Code.ALKALINITY_CEILING, Code.NODE_HELD, Code.LEAK])
def test_what_is_latched_needs_a_person(code: Code) -> None:
    """Whatever would end its cause."""
    assert "slackwater release" in way_out(code, is_latched=True)
    assert RELEASES[code] == way_out(code)
