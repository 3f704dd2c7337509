"""Commands: run times, cuts, deadlines and identities."""

from dataclasses import replace
from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.facts.doses import attempt_id
from slackwater.facts.events import Calibrated
from slackwater.facts.messages import RunPump
from slackwater.facts.reasons import Code, Reason, because
from slackwater.gate.moment import Moment
from slackwater.pump.command import (
    calibration_id,
    command_for,
    flow_end_ms,
    offset_in_force,
    pulse_ul,
    run_ms,
)
from tests.gate.scene import NOW, ask, moment
from tests.pump.relays import FIXED


@given(st.integers(1, 10**6), st.integers(10_000, 10**8))
def test_run_time_never_delivers_more_than_asked(ul: int, rate_nl_per_s: int) -> None:
    """Rounded down: time times rate stays at or below the volume."""
    ms = run_ms(ul, rate_nl_per_s)
    assert ms == 1 or ms * rate_nl_per_s <= ul * 1_000_000


def test_command_carries_number_boot_deadline_and_cut() -> None:
    """2000 µL at 1.333 mL/s: 1500 ms; deadline 0.998 s + 8 s after the beat's."""
    command = command_for(moment(), ask(moment()).dose, 2000)
    assert isinstance(command, RunPump)
    assert (1500, 1725, 4, 1) == (
        command.ms,
        command.cut_ms,
        command.n,
        command.fence,
    )
    assert 3_600_000 + 998 + 8000 == command.until_up


def test_flow_ends_after_deadline_and_cut_of_a_slow_clock() -> None:
    """(8000 + 1725) / 0.998, rounded up."""
    used = moment()
    command = command_for(used, ask(moment()).dose, 2000)
    assert isinstance(command, RunPump)
    assert 9745 == flow_end_ms(used, command) - used.proven_ms


def test_refuses_a_run_longer_than_the_node_allows() -> None:
    """80 mL take 60 015 ms, the node cuts at 60 000."""
    dose = replace(ask(moment()).dose, volume_ul=80_000)
    refused = command_for(moment(), dose, 80_000)
    assert isinstance(refused, Reason)
    assert Code.NODE_LIMIT is refused.code


def test_a_dose_has_one_attempt_identity_for_ever() -> None:
    """The same dose in the same ledger gives the same 32 hex, another differs."""
    first = attempt_id("ledger", "reef/carbonate@2026-05-03#07")
    assert first == attempt_id("ledger", "reef/carbonate@2026-05-03#07")
    assert first != attempt_id("ledger", "reef/carbonate@2026-05-03#08")
    assert 32 == len(first)


def test_a_measured_flow_replaces_the_nominal_one() -> None:
    """2000 µL at 1.0 mL/s are 2000 ms, under the calibration that says so."""
    used = moment()
    used.state.calibrations["carbonate"] = Calibrated(
        at=NOW,
        boot_s=1.0,
        proven_ms=1,
        pump="carbonate",
        rate_nl_per_s=1_000_000,
        cal="77aa01cf",
        shots=3,
        spread_percent=0.5,
        proofs=(),
        by="keeper",
    )
    command = command_for(used, ask(moment()).dose, 2000)
    assert isinstance(command, RunPump)
    assert (2000, 2300, "77aa01cf") == (command.ms, command.cut_ms, command.cal)


def calibrated(offset_nl: int) -> Moment:
    """A moment with a pump of 1.0 mL/s and this offset."""
    used = moment()
    used.state.calibrations["carbonate"] = Calibrated(
        at=NOW,
        boot_s=1.0,
        proven_ms=1,
        pump="carbonate",
        rate_nl_per_s=1_000_000,
        cal="77aa01cf",
        shots=3,
        spread_percent=0.5,
        proofs=(),
        by="keeper",
        offset_nl=offset_nl,
    )
    return used


@pytest.mark.parametrize(
    ("offset_nl", "volume_ul", "ms"),
    [(-40_000, 2000, 2040), (-40_000, 100, 140), (40_000, 100, 60), (99_999, 100, 1)],
)
def test_start_and_stop_are_made_up_for(
    offset_nl: int, volume_ul: int, ms: int
) -> None:
    """40 µL lost at the start are 40 ms more at 1.0 mL/s, for every volume alike."""
    used = calibrated(offset_nl)
    command = command_for(used, ask(used).dose, volume_ul)
    assert isinstance(command, RunPump)
    assert (volume_ul, ms) == (command.ul, command.ms)


def test_an_offset_is_part_of_the_identity() -> None:
    """SHA-256 (FIPS 180-4) over the canonical record; the same without an offset."""
    text = '{"offset_nl":-40000,"pump":"carbonate","rate_nl_per_s":1333000}'
    assert sha256(text.encode()).hexdigest()[:8] == calibration_id(
        "carbonate", 1_333_000, -40_000
    )
    assert calibration_id("carbonate", 1_333_000) == calibration_id(
        "carbonate", 1_333_000, 0
    )


def test_a_nominal_flow_has_an_identity_too() -> None:
    """The first 8 hex of SHA-256 (FIPS 180-4) over the canonical record."""
    text = '{"pump":"carbonate","rate_nl_per_s":1333000}'
    assert sha256(text.encode()).hexdigest()[:8] == calibration_id(
        "carbonate", 1_333_000
    )


@pytest.mark.parametrize(
    ("volume_ul", "ms", "cut_ms"),
    [(300, 225, 375), (1333, 1000, 1150), (2000, 1500, 1725), (79_979, 59_999, 60_000)],
)
def test_the_cut_lies_between_run_and_limit(
    volume_ul: int, ms: int, cut_ms: int
) -> None:
    """15 % or 150 ms above the run, never above what the node allows."""
    dose = replace(ask(moment()).dose, volume_ul=volume_ul)
    command = command_for(moment(), dose, volume_ul)
    assert isinstance(command, RunPump)
    assert (ms, cut_ms) == (command.ms, command.cut_ms)


@pytest.mark.parametrize(
    ("ms", "rate_nl_per_s", "offset_nl", "expected_ul"),
    [
        (1000, 1_000_000, 0, 1000),
        (1500, 1_333_000, 0, 2000),
        (1000, 1_000_000, -40_000, 960),
        (1000, 1_000_000, 1, 1001),
        (1, 1, 0, 1),
        (1000, 1_000_000, -2_000_000, 1),
    ],
)
def test_the_volume_of_a_pulse_is_rounded_up(
    ms: int, rate_nl_per_s: int, offset_nl: int, expected_ul: int
) -> None:
    """Rate times time and the offset, by hand; never nothing."""
    assert expected_ul == pulse_ul(ms, rate_nl_per_s, offset_nl)


def test_no_offset_is_the_same_as_none_stated() -> None:
    """To the nanolitre: each figure stands where one more would change it."""
    assert (2, 2, 1) == (run_ms(2, 10**6), pulse_ul(1, 1_000_001), pulse_ul(1, 10**6))
    used = moment()
    assert 0 == offset_in_force(used.state, used.machine.pumps["carbonate"])


def with_relay(always_ms: int) -> Moment:
    """A moment whose pump hangs on a relay with one pulse; any pulse for 0."""
    used = moment()
    machine = used.machine
    name = machine.pumps["carbonate"].node
    relay = replace(FIXED, always_ms=always_ms)
    node = replace(machine.nodes[name], relay=relay)
    return replace(used, machine=replace(machine, nodes={**machine.nodes, name: node}))


@pytest.mark.parametrize(
    ("always_ms", "granted_ul", "ms", "ul"),
    [(1500, 2000, 1500, 2000), (1500, 2500, 1500, 2000), (0, 1000, 750, 1000)],
)
def test_a_relay_of_one_pulse_gives_that_one(
    always_ms: int, granted_ul: int, ms: int, ul: int
) -> None:
    """1500 ms at 1.333 mL/s are 1999.5 µL, charged as 2000; other relays as asked."""
    used = with_relay(always_ms)
    command = command_for(used, ask(used).dose, granted_ul)
    assert isinstance(command, RunPump)
    assert (ms, ul) == (command.ms, command.ul)


def test_a_pulse_that_gives_more_than_granted_is_refused() -> None:
    """One microlitre too much is too much."""
    used = with_relay(1500)
    refused = because(Code.NODE_LIMIT, pulse_ul=2000, asked_ul=1999)
    assert refused == command_for(used, ask(used).dose, 1999)


def test_a_run_as_long_as_the_node_allows_is_sent() -> None:
    """79 980 µL at 1.333 mL/s are 60 s to the millisecond."""
    command = command_for(moment(), ask(moment()).dose, 79_980)
    assert isinstance(command, RunPump)
    assert (60_000, 60_000) == (command.ms, command.cut_ms)
