"""Halves of an exchange to the microlitre and the millisecond.

The scene drains 100 mL from 300 L; its water rests for a minute after the last drop.
"""

from dataclasses import replace

import pytest

from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import Flow
from slackwater.gate.exchanges import blocks_top_off, filled, half_refuses
from slackwater.gate.moment import Moment
from slackwater.gate.shortening import Share
from tests.gate.scene import NOW, PROVEN_MS, TODAY
from tests.gate.test_exchanges import LITRE_UL, ask, codes, owed, scene
from tests.turn.pairs import PAIR, PORTION_UL


def half_codes(at: Moment, pump: str, share: Share) -> list[Code]:
    """What keeps a half from running besides all that keeps any dose."""
    return [one.code for one in half_refuses(at, ask(at, pump), share, TODAY)]


def test_a_silent_switch_stops_a_drain_and_no_fill() -> None:
    """Of a doubted dose the base is given; of an exchange nothing, or what is owed.

    Another doubt stops neither.
    """
    silent = Share(ppm=800_000, reasons=(because(Code.SWITCH_UNKNOWN),))
    warm = Share(ppm=800_000, reasons=(because(Code.PROBE_STALE),))
    assert [Code.SWITCH_UNKNOWN] == half_codes(scene(), "out", silent)
    assert [] == half_codes(scene(), "out", warm)
    assert [] == half_codes(scene(owed()), "in", silent)


@pytest.mark.parametrize(
    ("owed_ul", "asked_ul", "ppm"),
    [
        (2_000_000, 2_000_000, 1_000_000),
        (1_999_999, 2_000_000, 999_999),
        (1_000_000, 2_000_000, 500_000),
        # The least that its pump gives reliably.
        (10_000, 100_000, 100_000),
        (9_999, 100_000, 0),
    ],
)
def test_a_fill_is_the_part_that_was_drained(
    owed_ul: int, asked_ul: int, ppm: int
) -> None:
    """Rounded down; less than the whole says why."""
    at = scene(owed(owed_ul))
    share = filled(at, ask(at, "in", asked_ul))
    reason = because(Code.EXCHANGE_LESS, drained_ul=owed_ul, planned_ul=asked_ul)
    is_less = 0 < ppm < 1_000_000
    assert Share(ppm=ppm, reasons=(reason,) if is_less else ()) == share


def test_another_tank_and_a_pair_held_by_a_person_block_no_top_off() -> None:
    """The first of two pairs is of another tank, or waits for somebody."""
    at = scene(owed())
    other = replace(PAIR, id="first", tank="frag")
    pairs = {"first": other, "water": PAIR}
    at = replace(at, machine=replace(at.machine, exchanges=pairs))
    at.state.exchanges["first"] = owed(phase="draining")
    assert blocks_top_off(at, "reef")
    at.state.exchanges["water"] = owed(phase="rest")
    assert not blocks_top_off(at, "reef")
    at.state.exchanges["water"] = owed()
    at.state.holds["exchange/water"] = HoldRaised(
        at=NOW,
        boot_s=0.0,
        proven_ms=PROVEN_MS,
        hold_id="exchange/water",
        scope="all",
        reason=because(Code.EXCHANGE_UNFILLED),
        latched=True,
    )
    assert not blocks_top_off(at, "reef")


def test_a_drain_that_took_nothing_has_no_fill() -> None:
    """It ended, and nothing is owed: its fill is missed at once."""
    at = scene(owed(0, phase="rest"))
    assert [Code.EXCHANGE_NOTHING] == half_codes(at, "in", Share())


@pytest.mark.parametrize(
    ("left_ms", "left_s"), [(0, None), (1, 1), (1000, 1), (1001, 2)]
)
def test_the_rest_of_the_settling_is_told_in_whole_seconds(
    left_ms: int, left_s: int | None
) -> None:
    """Rounded up, to the millisecond."""
    at = scene(owed())
    end_ms = PROVEN_MS - 60_000 + left_ms
    at.state.flows["out"] = Flow(tank="reef", solution="tank-water", end_ms=end_ms)
    found = half_refuses(at, ask(at, "in"), Share(), TODAY)
    expected = [] if left_s is None else [left_s]
    assert expected == [one.figures["left_s"] for one in found]


def test_new_water_must_be_known() -> None:
    """Its salinity was told with its fill, and not only that it was filled."""
    at = scene()
    fill = at.state.fills["canister"]
    assert set() == codes(at, "out")
    at.state.fills["canister"] = replace(fill, levels={"calcium": 420.0})
    assert {Code.NEW_WATER_UNTESTED} == codes(at, "out")
    del at.state.fills["canister"]
    assert {Code.NEW_WATER_UNTESTED} == codes(at, "out")


@pytest.mark.parametrize(
    ("container", "code"),
    [("canister", Code.NEW_WATER_LOW), ("waste", Code.WASTE_FULL)],
)
def test_containers_keep_their_rest_to_the_microlitre(
    container: str, code: Code
) -> None:
    """1 L must be left, or be room, after 100 mL."""
    at = scene()
    at.state.fills[container].content_ul = LITRE_UL + PORTION_UL
    assert set() == codes(at, "out")
    at.state.fills[container].content_ul -= 1
    assert {code} == codes(at, "out")
