"""Timed relays in a rehearsal: each was tried out, as an approval will ask.

Floor 6. One subject: what is assumed of relays ahead of time. Laws here: a rehearsal
says what a plan does once a person has done what is asked of him; whether he did is
for the gate of that day.
"""

from datetime import datetime

from slackwater.facts.relays import RelayChecked
from slackwater.facts.tank import Machine


def tried_out(
    machine: Machine, at: datetime, until: datetime
) -> dict[str, RelayChecked]:
    """A good check of each relay, for as long as the rehearsal lasts."""
    return {
        node.id: RelayChecked(
            at=at,
            boot_s=0.0,
            proven_ms=0,
            node=node.id,
            relay=node.relay.digest,
            until=until,
            by="rehearsal",
        )
        for node in machine.nodes.values()
        if node.relay is not None
    }
