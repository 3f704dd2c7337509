"""D6: plans by chance, lived through by the real loop, beside their rehearsal.

The audit reads the ledger and the approved bytes; the rehearsal is the promise a person
read. Extra, altered, duplicate and missing are nought, and the doses are the same.
"""

import logging
from collections.abc import Callable, Iterator

import pytest
import structlog

from slackwater.facts.doses import DoseIntended
from tests.audit.simulated import LASTS, Simulated, draw

PLANS, LONG_PLANS = 20, 500


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """Not a word on the terminal."""
    only_worst = structlog.make_filtering_bound_logger(logging.CRITICAL)
    structlog.configure(wrapper_class=only_worst)
    yield
    structlog.reset_defaults()


def live_as_rehearsed(seed: int) -> int:
    """Live through one plan, compare, and give the number of its doses."""
    machine, plan, first = draw(seed)
    stage = Simulated(machine, plan, first)
    stage.live_through()
    found = stage.audited()
    assert ([], [], 0) == (found.departures, found.missing, found.pending), seed
    assert all(one.rehearsed_ul == one.approved_ul for one in found.days.values())
    given = {
        event.dose.id: event.command.ul
        for event in stage.book.events()
        if isinstance(event, DoseIntended) and event.dose.due_at < stage.begins + LASTS
    }
    promised = stage.promised()
    assert given == {name: promised[name] for name in given}, seed
    assert all(total.given == total.doses for total in found.days.values())
    return len(given)


@pytest.mark.timeout(300)
def test_d6_generated_plans_are_lived_as_rehearsed(tell: Callable[[str], None]) -> None:
    """Twenty plans of two days each: nothing extra, altered, doubled or missing."""
    doses = sum(live_as_rehearsed(seed) for seed in range(PLANS))
    tell(f"{PLANS} generated plans, {doses} doses lived as rehearsed")
    assert doses > PLANS


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_d6_five_hundred_plans_are_lived_as_rehearsed(
    tell: Callable[[str], None],
) -> None:
    """The same five hundred times."""
    doses = sum(live_as_rehearsed(seed) for seed in range(PLANS, PLANS + LONG_PLANS))
    tell(f"{LONG_PLANS} generated plans, {doses} doses lived as rehearsed")
    assert doses > LONG_PLANS
