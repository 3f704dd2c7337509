"""Caps and thresholds that another machine holds lower than the approved one.

Floor 3. One subject: what may count at once without a consent. Laws here: only lower
counts, never higher; a table that is gone says nothing, a cap that is gone from its
table is zero; what was not capped may be capped.
Units: as the field of each place says.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import TypeVar

from slackwater.facts.limits import LIMITS, WaterLimits
from slackwater.facts.tank import (
    AlkalinityGuard,
    EffectCap,
    Machine,
    Node,
    Pump,
    Tank,
)

Amount = int | float
Caps = Mapping[str, Amount]
RecordT = TypeVar("RecordT", Pump, Node, AlkalinityGuard, WaterLimits, EffectCap)

# Fields of each table whose lower figure is the safer one.
PUMP = (
    "per_dose_ul",
    "per_hour_ul",
    "per_day_ul",
    "per_calibration_ul",
    "per_priming_ul",
    "per_hand_ul",
)
NODE = ("day_limit_ul", "cut_limit_ms")
EFFECT = ("gross", "net_rise")
GUARD = ("ceiling", "rise")
LIMIT = (
    "ph_hydroxide",
    "ph_carbonate",
    "ph_rise_per_hour",
    "ph_rise_after_dose",
    "temperature_warm",
    "temperature_hot",
    "top_off_factor",
    "drift_stops",
)
NOTHING = EffectCap(gross=0)


def lower_caps(approved: Machine, other: Machine) -> dict[str, Amount]:
    """Every place where the other machine allows less, with what it allows.

    Shape: places such as `pump/carbonate/per_day_ul`, in order.
    """
    found = dict(_lower(approved, other))
    return {place: found[place] for place in sorted(found)}


def _lower(approved: Machine, other: Machine) -> Iterator[tuple[str, Amount]]:
    tables = (
        ("pump", PUMP, approved.pumps, other.pumps),
        ("node", NODE, approved.nodes, other.nodes),
        ("guard", GUARD, approved.guards, other.guards),
    )
    for kind, fields, ours, theirs in tables:
        for name in ours.keys() & theirs.keys():
            place = f"{kind}/{name}"
            yield from _fields(place, fields, ours[name], theirs[name])
    for name in approved.tanks.keys() & other.tanks.keys():
        limits = [one.limits.get(name, LIMITS) for one in (approved, other)]
        yield from _fields(f"limit/{name}", LIMIT, *limits)
        caps = other.tanks[name].caps
        for parameter, cap in approved.tanks[name].caps.items():
            place = f"cap/{name}/{parameter}"
            yield from _fields(place, EFFECT, cap, caps.get(parameter, NOTHING))


def _fields(
    place: str, fields: tuple[str, ...], ours: object, theirs: object
) -> Iterator[tuple[str, Amount]]:
    for name in fields:
        now, then = getattr(theirs, name), getattr(ours, name)
        if now is not None and (then is None or now < then):
            yield f"{place}/{name}", now


def lowered(machine: Machine, caps: Caps) -> Machine:
    """The machine with these caps where they are below its own; others as they are."""
    if not caps:
        return machine
    return replace(
        machine,
        pumps={
            name: _with(pump, f"pump/{name}", PUMP, caps)
            for name, pump in machine.pumps.items()
        },
        nodes={
            name: _with(node, f"node/{name}", NODE, caps)
            for name, node in machine.nodes.items()
        },
        guards={
            name: _with(guard, f"guard/{name}", GUARD, caps)
            for name, guard in machine.guards.items()
        },
        limits=_limits(machine, caps),
        tanks={name: _tank(tank, caps) for name, tank in machine.tanks.items()},
    )


def _with(record: RecordT, place: str, fields: tuple[str, ...], caps: Caps) -> RecordT:
    changes = {}
    for name in fields:
        cap, own = caps.get(f"{place}/{name}"), getattr(record, name)
        if cap is not None and (own is None or cap < own):
            changes[name] = cap
    made: Callable[..., RecordT] = replace
    return made(record, **changes) if changes else record


def _limits(machine: Machine, caps: Caps) -> dict[str, WaterLimits]:
    found = dict(machine.limits)
    for name in machine.tanks:
        own = found.get(name, LIMITS)
        limits = _with(own, f"limit/{name}", LIMIT, caps)
        if limits is not own:
            found[name] = limits
    return found


def _tank(tank: Tank, caps: Caps) -> Tank:
    made = {
        parameter: _with(cap, f"cap/{tank.id}/{parameter}", EFFECT, caps)
        for parameter, cap in tank.caps.items()
    }
    return tank if made == tank.caps else replace(tank, caps=made)
