"""What a switch or a counter said.

Floor 6. One subject: one switch's payload to one message. Laws here: nothing raises;
what was left lying on the broker may warn, that all is well it cannot prove; a counter
that was left lying counts nothing.
"""

from slackwater.facts.limits import Switch
from slackwater.facts.messages import CounterSeen, SpoiledSwitch, SwitchSeen
from slackwater.outside.wire.mapped import state_in, total_in
from slackwater.outside.wire.models import InputPayload
from slackwater.outside.wire.strict import Spoiled, read_strictly
from slackwater.outside.wire.view import Heard

Said = SwitchSeen | CounterSeen | SpoiledSwitch


def switch_said(switch: Switch, heard: Heard) -> Said | None:
    """The message, or None for a retained one that proves nothing."""
    if switch.unit_ul:
        return None if heard.retained else _counter(switch, heard)
    is_on = _state(switch, heard.payload)
    if isinstance(is_on, Spoiled):
        return _spoiled(switch, is_on)
    if heard.retained and is_on == switch.normal_on:
        return None
    return SwitchSeen(
        tank=switch.tank,
        switch=switch.id,
        is_on=is_on,
        heard_boot_s=heard.now.boot_s,
    )


def _state(switch: Switch, payload: bytes) -> bool | Spoiled:
    if switch.pointer is not None:
        return state_in(payload, switch)
    read = read_strictly(payload, InputPayload)
    return read if isinstance(read, Spoiled) else read.model.state == "on"


def _counter(switch: Switch, heard: Heard) -> CounterSeen | SpoiledSwitch:
    total_ul = total_in(heard.payload, switch)
    if isinstance(total_ul, Spoiled):
        return _spoiled(switch, total_ul)
    return CounterSeen(
        tank=switch.tank,
        switch=switch.id,
        total_ul=total_ul,
        at=heard.now.utc,
        heard_boot_s=heard.now.boot_s,
    )


def _spoiled(switch: Switch, flaw: Spoiled) -> SpoiledSwitch:
    why = f"{flaw.why} {flaw.detail}".strip()
    return SpoiledSwitch(tank=switch.tank, switch=switch.id, why=why)
