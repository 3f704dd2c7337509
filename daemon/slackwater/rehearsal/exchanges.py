"""The keeper of exchanges in a rehearsal: new water is there, containers are measured.

Floor 6. One subject: what is assumed of new water ahead of time. Laws here: a rehearsal
says what a plan does once a person does what is asked of him; the new water is taken to
be as the tank's, and every level is read to the drop. Whether he does is for the gate
of that day.
Source: a salinity of 35 is that of standard seawater (IAPSO).
"""

from collections.abc import Iterator

from slackwater.facts.events import AnyEvent
from slackwater.facts.exchanges import NEEDED, Exchange
from slackwater.facts.inventory import left_ul
from slackwater.facts.safeguards import LevelMeasured, ReservoirFilled
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.facts.waters import WaterChanged
from slackwater.pump.outcome import Stamp

KEEPER = "rehearsal"
STANDARD_SALINITY = 35.0


def prepared(machine: Machine, stamp: Stamp) -> Iterator[AnyEvent]:
    """New water that was tested and room for waste, for every pair."""
    for pair in machine.exchanges.values():
        for pump in (pair.drain, pair.fill):
            content_ul = machine.reservoirs[_container(machine, pump)].content_ul
            yield _filled(machine, pump, stamp)
            yield _measured(machine, pump, content_ul, stamp)


def looked_after(machine: Machine, state: State, event: AnyEvent) -> Iterator[AnyEvent]:
    """What the keeper writes down after an exchange; nothing after anything else."""
    if not isinstance(event, WaterChanged):
        return
    stamp: Stamp = {
        "at": event.at,
        "boot_s": event.boot_s,
        "proven_ms": event.proven_ms,
    }
    for pair in machine.exchanges.values():
        if pair.tank == event.tank:
            yield from _read(machine, state, pair, stamp)
    yield from prepared(machine, stamp)


def _read(
    machine: Machine, state: State, pair: Exchange, stamp: Stamp
) -> Iterator[AnyEvent]:
    for pump in (pair.drain, pair.fill):
        rest_ul = left_ul(machine, state, _container(machine, pump))
        yield _measured(machine, pump, rest_ul, stamp)


def _container(machine: Machine, pump: str) -> str:
    return machine.pumps[pump].reservoir


def _filled(machine: Machine, pump: str, stamp: Stamp) -> ReservoirFilled:
    container = _container(machine, pump)
    return ReservoirFilled(
        **stamp,
        reservoir=container,
        content_ul=machine.reservoirs[container].content_ul,
        mixed_at=stamp["at"],
        by=KEEPER,
        levels={NEEDED: STANDARD_SALINITY},
    )


def _measured(
    machine: Machine, pump: str, volume_ul: int, stamp: Stamp
) -> LevelMeasured:
    return LevelMeasured(
        **stamp,
        reservoir=_container(machine, pump),
        volume_ul=volume_ul,
        within_ul=0,
        measured_at=stamp["at"],
        pumps=(pump,),
        by=KEEPER,
    )
