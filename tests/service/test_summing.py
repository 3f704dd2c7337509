"""The job that adds up past days, on a real ledger beside a real memory."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import AnyEvent, ClockConfirmed, HoldRaised
from slackwater.facts.now import Now
from slackwater.facts.reasons import Code, because
from slackwater.facts.tank import Machine
from slackwater.facts.waters import DaySummed
from slackwater.ledger.store import LedgerFile
from slackwater.service.memory import LIVE_NAME, Memory, Mode
from slackwater.service.summing import sums_due
from tests.gate.scene import machine
from tests.ledger.samples import made
from tests.ledger.years import FIRST_DAY, begin_of, given, stamped

HOUR = timedelta(hours=1)
BEGIN = begin_of(FIRST_DAY)
DUE = BEGIN + 27 * HOUR
BOOT = "boot-1"


def now(at: datetime = DUE, *, synchronised: bool = True, boot: str = BOOT) -> Now:
    """The clocks at a moment, the first day being over."""
    boot_s = stamped(at)["boot_s"]
    return Now(utc=at, boot_s=boot_s, boot_id=boot, synchronised=synchronised)


def machine_of(*, confirmed: bool = False) -> Machine:
    """The invented machine, with a clock a person vouched for or not."""
    return replace(machine(), clock_confirmed=confirmed)


@pytest.fixture(params=["live", "shadow"])
def memory(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Memory]:
    """A ledger with one dose on its first day, opened as the daemon does."""
    first = replace(made(), **stamped(BEGIN), dosed_ul={}, effects={}, boot_id=BOOT)
    with LedgerFile.create(tmp_path / LIVE_NAME, first) as ledger:
        ledger.append(list(given("carbonate", BEGIN + HOUR)))
    mode: Mode = "live" if request.param == "live" else "shadow"
    with closing(Memory(tmp_path, mode)) as opened:
        opened.open()
        yield opened


def test_a_day_that_is_over_is_due_once(memory: Memory) -> None:
    """Three hours after its end; what was written is not made again."""
    early = sums_due(memory, machine_of(), now(DUE - timedelta(seconds=1)))
    due = sums_due(memory, machine_of(), now())
    memory.append(due)

    assert ((), [("reef", FIRST_DAY)]) == (
        tuple(early),
        [(one.tank, one.day) for one in due],
    )
    assert [] == list(sums_due(memory, machine_of(), now()))


def test_it_lands_in_the_true_ledger_even_in_shadow(memory: Memory) -> None:
    """Sums are true; only doses are imagined."""
    due = sums_due(memory, machine_of(), now())
    memory.append(due)
    entries = memory.ledger.load().entries

    assert due[0] == entries[-1].event
    assert isinstance(due[0], DaySummed)
    assert 1887010 * 1000 == sum(due[0].delivered["alkalinity"])


@pytest.mark.parametrize(
    ("clock", "confirmed", "expected"),
    [
        (now(synchronised=False), False, 0),
        (now(synchronised=False), True, 1),
        (now(synchronised=False, boot="boot-2"), False, 0),
    ],
)
def test_an_unproven_clock_adds_up_nothing(
    memory: Memory, clock: Now, *, confirmed: bool, expected: int
) -> None:
    """A wrong date would call days done that have not come yet."""
    assert expected == len(sums_due(memory, machine_of(confirmed=confirmed), clock))


def test_a_person_may_vouch_for_the_clock(memory: Memory) -> None:
    """Until the machine reboots."""
    confirmed = ClockConfirmed(**stamped(DUE - HOUR), boot_id=BOOT, by="keeper")
    memory.append([confirmed])
    again = now(synchronised=False, boot="boot-2")

    assert 1 == len(sums_due(memory, machine_of(), now(synchronised=False)))
    assert 0 == len(sums_due(memory, machine_of(), again))


@pytest.mark.parametrize(
    ("code", "expected"), [(Code.CLOCK_JUMPED, 0), (Code.MANUAL_HOLD, 1)]
)
def test_a_clock_that_jumped_waits_for_a_person(
    memory: Memory, code: Code, expected: int
) -> None:
    """Other holds have nothing to do with it."""
    held: AnyEvent = HoldRaised(
        **stamped(DUE - HOUR),
        hold_id=str(code),
        scope="all",
        reason=because(code),
        latched=True,
    )
    memory.append([held])

    assert expected == len(sums_due(memory, machine_of(), now()))
