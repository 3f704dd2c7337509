"""Doses of a plan that pumps, as they were measured, would never run.

Floor 8. One subject: runs against nodes and relays. Laws here: the flow in force
counts, and not the one of the file that a check and a rehearsal go by; what no node
would take is told before anybody consents to it, for each such dose would be missed.
"""

from collections.abc import Iterator

from slackwater.cli.reading import Files
from slackwater.errors import Finding
from slackwater.facts.plan import PlanLine
from slackwater.facts.state import State
from slackwater.facts.tank import Node, Pump
from slackwater.planning.amounts import largest_ul, smallest_ul
from slackwater.planning.faults import place
from slackwater.pump.command import (
    offset_in_force,
    pulse_ul,
    rate_in_force,
    run_ms,
)
from slackwater.water.show import show_volume

MS_PER_S = 1000


def unfit_lines(files: Files, state: State) -> Iterator[Finding]:
    """Lines whose doses no node would take, in the order of the plan."""
    for line in files.plan.lines:
        pump = files.machine.pumps[line.pump]
        node = files.machine.nodes[pump.node]
        relay, (rate_nl_per_s, _cal) = node.relay, rate_in_force(state, pump)
        offset_nl = offset_in_force(state, pump)
        if relay is not None and relay.always_ms:
            least_ul = pulse_ul(relay.always_ms, rate_nl_per_s, offset_nl)
            if smallest_ul(line) < least_ul:
                yield _less_than_a_pulse(line, pump, least_ul)
            continue
        takes_ms = run_ms(largest_ul(line), rate_nl_per_s, offset_nl)
        if takes_ms > node.cut_limit_ms:
            yield _too_long(line, node, takes_ms)


def _less_than_a_pulse(line: PlanLine, pump: Pump, least_ul: int) -> Finding:
    least = show_volume(least_ul)
    return Finding(
        what=f"one pulse of {pump.id} gives {least} as it was measured, and a dose is "
        f"{show_volume(smallest_ul(line))}",
        where=place(line),
        expected="no dose below a pulse, for none would be given",
        do=f"Write the rate that was measured, or a little more, into [pump.{pump.id}] "
        f"and give doses of {least} or a little more; or shorten longest_run of "
        f"[node.{pump.node}] and the relay.",
    )


def _too_long(line: PlanLine, node: Node, takes_ms: int) -> Finding:
    return Finding(
        what=f"a dose of {show_volume(largest_ul(line))} takes {line.pump} "
        f"{takes_ms / MS_PER_S:g} s as it was measured",
        where=place(line),
        expected=f"at most {node.cut_limit_ms / MS_PER_S:g} s a run (longest_run in "
        f"[node.{node.id}])",
        do="Give more, smaller doses, or raise longest_run here and in the node.",
    )
