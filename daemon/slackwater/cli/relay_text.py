"""Pumps behind timed relays, marked wherever a person looks.

Floor 8. One subject: reduced assurance in words. Laws here: the mark names pump, relay
and until when it counts as tried out.
"""

from collections.abc import Iterator

from slackwater.facts.state import State
from slackwater.facts.tank import Machine

REDUCED = "reduced assurance"


def relay_lines(machine: Machine, state: State) -> Iterator[str]:
    """One line for each pump behind a relay; none where there is no relay."""
    for _, pump in sorted(machine.pumps.items()):
        relay = machine.nodes[pump.node].relay
        if relay is None:
            continue
        known = state.relay_checks.get(pump.node)
        if known is None or known.relay != relay.digest:
            tried = f"not tried out: slackwater check-relay {pump.node}"
        else:
            tried = f"tried out, good until {known.until:%Y-%m-%d}"
        yield f"Relay  {pump.id} on {pump.node}: {REDUCED}, {tried}"
