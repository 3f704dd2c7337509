"""Mutated payloads, commands, settings, plans, laboratory files (H42 to H45, H61)."""

import json
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from tests.faults.fuzz import GROWTH_MIB, SHARES, attempt, report
from tests.faults.mutators import bytewise, jsonwise, linewise

COUNT, LONG_COUNT = 1_200, 200_000


@pytest.mark.timeout(900)
def test_h61_nothing_falls_over_and_nothing_invalid_is_taken(
    tmp_path: Path, tell: Callable[[str], None], pytestconfig: pytest.Config
) -> None:
    """Each kind of what comes in, far enough in form to be read; memory stays flat."""
    is_long = pytestconfig.getoption("--long")
    found = attempt(LONG_COUNT if is_long else COUNT, 8, tmp_path)
    for line in report(found):
        tell(line)

    assert [] == found.wrong
    assert set(SHARES) == set(found.tried)
    assert found.growth_mib <= GROWTH_MIB
    # A trial in which all is refused at the door tries nothing behind it.
    assert found.taken["payload"] > 0
    assert found.taken["settings"] + found.taken["plan"] + found.taken["report"] > 0


def test_a_mutated_object_is_most_often_another_one_and_still_an_object() -> None:
    """Names said twice and numbers no tree can hold reach the reader as written."""
    chance = Random(1)  # noqa: S311 -- to be repeated, not to be secret
    sound = b'{"v":1,"name":"a","deep":{"n":[1,2]}}'
    found = [jsonwise(sound, chance) for _ in range(400)]

    assert any(b"1e400" in one for one in found)
    assert any(one.count(b'"name"') == 2 for one in found)
    assert 100 < sum(_is_json(one) for one in found)
    assert 300 < sum(one != sound for one in found)


def _is_json(content: bytes) -> bool:
    try:
        json.loads(content)
    except ValueError:
        return False
    return True


def test_equal_seeds_give_equal_inputs() -> None:
    """One number is enough to have an input again."""
    text = 'a = "5 mL"\nb = 3\n'

    def both(seed: int) -> tuple[str, bytes]:
        chance = Random(seed)  # noqa: S311 -- to be repeated, not to be secret
        return linewise(text, chance), bytewise(text.encode(), chance)

    assert both(5) == both(5)
    assert both(5) != both(6)
