"""A pump behind a timed relay at the gate: tried out, as it is, not too long ago."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.messages import RelayTrouble, RunPump
from slackwater.facts.reasons import Code, Reason
from slackwater.facts.relays import Relay, RelayChecked
from slackwater.facts.state import State
from slackwater.gate.interlocks import refusals
from slackwater.gate.moment import Moment
from slackwater.pump.command import command_for
from slackwater.turn.listening import hear
from tests.gate.scene import NOW, ask, machine, moment

RELAY = Relay(
    on_topic="workshop/relay-3/do",
    on_payload='{"ms":{ms}}',
    off_topic="workshop/relay-3/do",
    off_payload="off",
    state_topic="workshop/relay-3/is",
)
A_DAY = timedelta(days=1)


def behind(relay: Relay = RELAY) -> Moment:
    """The scene, with its node replaced by a relay."""
    nodes = {name: replace(node, relay=relay) for name, node in machine().nodes.items()}
    return moment(replace(machine(), nodes=nodes))


def tried(state: State, *, relay: Relay = RELAY, lasts: timedelta = A_DAY) -> None:
    """Write a check into a state."""
    state.relay_checks["shelf"] = RelayChecked(
        at=NOW,
        boot_s=0.0,
        proven_ms=0,
        node="shelf",
        relay=relay.digest,
        until=NOW + lasts,
        by="keeper",
    )


def _codes(here: Moment) -> list[Code]:
    return [reason.code for reason in refusals(here, ask(here))]


def test_nothing_runs_behind_a_relay_nobody_tried_out() -> None:
    """And a node needs no such check."""
    assert Code.RELAY_UNCHECKED in _codes(behind())
    assert Code.RELAY_UNCHECKED not in _codes(moment())


def test_a_check_counts_until_its_end() -> None:
    """The last moment before it, and not the end itself."""
    here = behind()
    tried(here.state)
    assert Code.RELAY_UNCHECKED not in _codes(here)
    tried(here.state, lasts=timedelta(0))
    assert Code.RELAY_UNCHECKED in _codes(here)


def test_a_clock_set_back_prolongs_no_check() -> None:
    """The newest entry of the ledger is time that can be believed."""
    here = behind()
    tried(here.state)
    here.state.newest_at = NOW + 2 * A_DAY
    assert Code.RELAY_UNCHECKED in _codes(here)


def test_a_check_of_another_relay_is_none() -> None:
    """One changed word, and it must be tried out again."""
    here = behind()
    tried(here.state, relay=replace(RELAY, on_payload="{ms}"))
    assert Code.RELAY_UNCHECKED in _codes(here)


@pytest.mark.parametrize(
    ("asked_ul", "expected"),
    # 1.333 mL/s for 1500 ms are 2000 uL, rounded up.
    [(2_000, 2_000), (5_000, 2_000), (1_999, None)],
)
def test_a_pulse_of_one_length_never_gives_more_than_was_granted(
    asked_ul: int, expected: int | None
) -> None:
    """It is charged as what it gives, or is not sent at all."""
    here = behind(replace(RELAY, always_ms=1_500))
    command = command_for(here, ask(here).dose, asked_ul)
    if expected is None:
        assert isinstance(command, Reason)
        assert Code.NODE_LIMIT is command.code
    else:
        assert isinstance(command, RunPump)
        assert (expected, 1_500) == (command.ul, command.ms)


def test_trouble_of_a_relay_latches_it_once() -> None:
    """Said twice, held once, until a person releases it."""
    here = behind()
    trouble = RelayTrouble(node="shelf", attempt="0" * 32, said="it is still on")
    stamp = {"at": NOW, "boot_s": here.now.boot_s, "proven_ms": 0}
    (held,) = hear(here, trouble, stamp)  # type: ignore[arg-type]  # the stamp's keys
    assert held.kind == "hold_raised"
    assert (True, "node/shelf") == (held.latched, held.scope)
    here.state.holds[held.hold_id] = held
    assert [] == list(hear(here, trouble, stamp))  # type: ignore[arg-type]  # idem
