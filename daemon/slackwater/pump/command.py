"""From microlitres to a command that ends by itself.

Floor 3. One subject: the `run` command. Laws here: volume rounds down, the cut lies
above the run and below the node's own limit; the deadline is in the node's uptime
and can only be too early; identity follows from ledger and dose, so the same dose
can never make two.
"""

import json
from functools import cache, lru_cache
from hashlib import sha256
from typing import Protocol

from slackwater.facts.doses import attempt_id
from slackwater.facts.making import maker
from slackwater.facts.messages import RunPump
from slackwater.facts.now import Now
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.sight import Sight
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Pump

# A node's clock may run this much slower than ours (contract, deadline rule).
NODE_CLOCK = 0.998
# The cut leaves room for start-up lag, and is never further away than this share.
CUT_SHARE_PERCENT = 115
CUT_LEAST_MS = 150
MS_PER_S = 1000
NL_PER_UL = 1000
# A plan has few volumes: what follows from their cuts is worked out once.
LENGTHS_KEPT = 512

_run_pump = maker(RunPump)


class Sending(Protocol):
    """What a command is made from, besides dose and volume: a moment of the gate."""

    @property
    def now(self) -> Now:
        """What the clocks say."""

    @property
    def proven_ms(self) -> int:
        """Proven time at that moment."""

    @property
    def state(self) -> State:
        """Whose identity, fence and calibrations count."""

    @property
    def sight(self) -> Sight:
        """The newest beats; that of the pump's node is among them."""

    @property
    def machine(self) -> Machine:
        """Pumps, nodes and timing."""


@cache
def calibration_id(pump: str, rate_nl_per_s: int, offset_nl: int = 0) -> str:
    """First 8 hex of SHA-256 over the canonical JSON of the calibration.

    An offset of nothing is left out, as in calibrations made before there was one.
    """
    record: dict[str, str | int] = {"pump": pump, "rate_nl_per_s": rate_nl_per_s}
    if offset_nl:
        record["offset_nl"] = offset_nl
    text = json.dumps(record, sort_keys=True, separators=(",", ":"))
    return sha256(text.encode()).hexdigest()[:8]


def rate_in_force(state: State, pump: Pump) -> tuple[int, str]:
    """Flow in nanolitres per second and its calibration id; nominal until measured."""
    known = state.calibrations.get(pump.id)
    if known is not None:
        return known.rate_nl_per_s, known.cal
    return pump.rate_nl_per_s, calibration_id(pump.id, pump.rate_nl_per_s)


def offset_in_force(state: State, pump: Pump) -> int:
    """Nanolitres that start and stop add to each run; below 0 where they are lost."""
    known = state.calibrations.get(pump.id)
    return 0 if known is None else known.offset_nl


def run_ms(volume_ul: int, rate_nl_per_s: int, offset_nl: int = 0) -> int:
    """Run time for a volume, whole milliseconds, rounded down, at least 1."""
    flowing_nl = volume_ul * NL_PER_UL - offset_nl
    return max(flowing_nl * MS_PER_S // rate_nl_per_s, 1)


def pulse_ul(ms: int, rate_nl_per_s: int, offset_nl: int = 0) -> int:
    """Volume of a run of one length, whole microlitres, rounded up, at least 1."""
    return max(-(-(rate_nl_per_s * ms + offset_nl * MS_PER_S) // MS_PER_S**2), 1)


def command_for(sending: Sending, dose: DueDose, volume_ul: int) -> RunPump | Reason:
    """The command for one granted dose, or why the node could never take it."""
    state, machine = sending.state, sending.machine
    pump = machine.pumps[dose.pump]
    node, beat = machine.nodes[pump.node], sending.sight.nodes[pump.node].beat
    rate_nl_per_s, cal = rate_in_force(state, pump)
    offset_nl = offset_in_force(state, pump)
    relay = node.relay
    if relay is None or not relay.always_ms:
        ms = run_ms(volume_ul, rate_nl_per_s, offset_nl)
    else:
        ms = relay.always_ms
        # A pulse of one length gives what it gives: never more than was granted.
        whole_ul = pulse_ul(ms, rate_nl_per_s, offset_nl)
        if whole_ul > volume_ul:
            return because(Code.NODE_LIMIT, pulse_ul=whole_ul, asked_ul=volume_ul)
        volume_ul = whole_ul
    if ms > node.cut_limit_ms:
        return because(Code.NODE_LIMIT, run_ms=ms, limit_ms=node.cut_limit_ms)
    since_ms = (sending.now.boot_s - beat.heard_boot_s) * MS_PER_S
    window_ms = int(machine.timing.deadline_s * MS_PER_S)
    return _run_pump(
        node=pump.node,
        channel=pump.channel,
        attempt=attempt_id(state.ledger_id, dose.id),
        boot=beat.boot,
        n=beat.channels[pump.channel].n,
        fence=state.fence,
        ul=volume_ul,
        ms=ms,
        cut_ms=_cut_ms(ms, node.cut_limit_ms),
        until_up=beat.up + int(NODE_CLOCK * since_ms) + window_ms,
        cal=cal,
    )


@lru_cache(LENGTHS_KEPT)
def _cut_ms(ms: int, limit_ms: int) -> int:
    return min(max(ms * CUT_SHARE_PERCENT // 100, ms + CUT_LEAST_MS), limit_ms)


def flow_end_ms(sending: Sending, command: RunPump) -> int:
    """Proven time at which the last drop of a command can have flowed.

    The node starts at its deadline at the latest and stops at its cut; its clock may
    be slow, and the beat the deadline rests on may have been old when it came.
    """
    deadline_s = sending.machine.timing.deadline_s
    longest_ms = _longest_ms(deadline_s, command.cut_ms)
    return sending.proven_ms + longest_ms


@lru_cache(LENGTHS_KEPT)
def _longest_ms(deadline_s: float, cut_ms: int) -> int:
    return int((int(deadline_s * MS_PER_S) + cut_ms) / NODE_CLOCK) + 1
