"""Tried to the end: whatever the network does, no dose runs twice or uncharged.

Source of the rules: the command contract, its settle table and acceptance order. The
search is exhaustive within its bounds; with one rule taken out it must find the harm,
else it would prove nothing.
"""

import sys
from collections.abc import Callable

import pytest

from tests.faults.real_settling import ENDED, OPEN, SEALED, VOIDED
from tests.faults.search import Found, search
from tests.faults.settle_world import RULES, Bounds, World

# All that can be reached within these bounds was looked at.
ALL = sys.maxsize
# A weakened rule must show within so many worlds.
SOON = 10_000
QUIET = World(crashes=0, reboots=0)
# Rules that only matter to a node that rebooted.
REBOOTING = frozenset({"boot", "sealing", "refusal"})


def held(found: Found) -> None:
    """Nothing is broken, everything was looked at, and every end was met."""
    assert not found.broken, "\n".join((found.broken, *found.story))
    assert found.left == 0
    # An honest node, with one broken wire, is never called a liar.
    assert not found.words["held"]
    assert all(found.words[word] for word in (OPEN, ENDED, VOIDED, SEALED))


def test_no_order_of_messages_makes_a_dose_run_twice(
    tell: Callable[[str], None],
) -> None:
    """Lost, doubled, late and out of order, with two doses on one pump head."""
    found = search(QUIET, Bounds(ticks=3), ALL)

    held(found)
    tell(f"settle rules: {found.worlds} worlds, none broken, {_words(found)}")


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_nor_with_a_crash_and_a_reboot_at_any_moment(
    tell: Callable[[str], None],
) -> None:
    """The daemon crashes once and the node reboots once, wherever it hurts most."""
    found = search(World(), Bounds(ticks=3), ALL)

    held(found)
    assert found.worlds >= 1_000_000
    tell(f"settle rules: {found.worlds} worlds, none broken, {_words(found)}")


@pytest.mark.parametrize("rule", RULES)
def test_without_one_of_its_rules_the_search_finds_the_harm(rule: str) -> None:
    """A search that finds nothing must be one that would."""
    first = QUIET._replace(reboots=int(rule in REBOOTING))
    ticks = 3 if rule == "deadline" else 2
    found = search(first, Bounds(ticks=ticks, without=rule), SOON)

    assert found.broken, f"without {rule} nothing was found in {found.worlds} worlds"
    assert len(found.story) > 0


def _words(found: Found) -> str:
    return ", ".join(f"{word} {count}" for word, count in sorted(found.words.items()))
