"""Pumps behind timed relays, marked wherever a person looks.

Floor 8. One subject: reduced assurance in words. Laws here: the mark names pump, relay
and until when it counts as tried out.
"""

from collections.abc import Iterator
from datetime import datetime

from slackwater.cli.render import local_day
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.ledger.codec import timestamp

REDUCED = "reduced assurance"


def relay_lines(machine: Machine, state: State) -> Iterator[str]:
    """One line for each pump behind a relay; none where there is no relay."""
    for pump, node, until in _behind(machine, state):
        tried = f"not tried out: slackwater check-relay {node}"
        if until is not None:
            zone = machine.tanks[machine.pumps[pump].tank].zone
            tried = f"tried out, good until {local_day(until, zone)}"
        yield f"Relay  {pump} on {node}: {REDUCED}, {tried}"


def relay_documents(machine: Machine, state: State) -> list[dict[str, object]]:
    """The same as the document says it."""
    return [
        {
            "pump": pump,
            "node": node,
            "assurance": "reduced",
            "checked_until": None if until is None else timestamp(until),
        }
        for pump, node, until in _behind(machine, state)
    ]


def _behind(
    machine: Machine, state: State
) -> Iterator[tuple[str, str, datetime | None]]:
    """Pump, relay, and until when that counts as tried out."""
    for _, pump in sorted(machine.pumps.items()):
        relay = machine.nodes[pump.node].relay
        if relay is None:
            continue
        known = state.relay_checks.get(pump.node)
        fits = known is not None and known.relay == relay.digest
        yield pump.id, pump.node, known.until if known is not None and fits else None
