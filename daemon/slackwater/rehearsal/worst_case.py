"""What could flow if a layer failed, and what that would do to the water.

Floor 6. One subject: worst-case arithmetic. Laws here: each figure assumes that one
layer more is gone; what a tank tolerates is the room between its target and its
ceiling, as the operator stated them; no likelihood is guessed.
Units: microlitres; effects in pico-units of the whole tank; levels meq/L.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from slackwater.facts.tank import Machine, Pump
from slackwater.rehearsal.virtual_tank import ALKALINITY, canonical, starts_of

Layer = Literal["cap", "run", "node", "bottle"]
LAYERS: tuple[Layer, ...] = ("cap", "run", "node", "bottle")
_NL_PER_UL_MS = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Worst:
    """How much one pump could give, and what it would add.

    `cap`: every unknown was delivered, the daemon's cap of a day holds. `run`: the
    output stays on until the node cuts the run. `node`: one stuck pump, the node's own
    limit of 24 h is all that is left. `bottle`: the output is welded, the whole bottle.
    `level` is where alkalinity would stand, None where it adds none or nobody knows;
    `tolerable` False where that is above the ceiling.
    """

    pump: str
    tank: str
    layer: Layer
    volume_ul: int
    effects: Mapping[str, int]
    level: float | None
    tolerable: bool | None


def worst_cases(
    machine: Machine, pumps: Iterable[str], levels: Mapping[str, Mapping[str, float]]
) -> tuple[Worst, ...]:
    """Four figures for every pump of a plan, pumps by name.

    Shape: `levels` maps a tank to measured levels, which stand before its targets.
    """
    return tuple(
        _worst(machine, machine.pumps[name], layer, levels)
        for name in sorted(set(pumps))
        for layer in LAYERS
    )


def stuck(found: Iterable[Worst]) -> Worst | None:
    """The one stuck pump that would lift alkalinity most, up to its node's limit.

    Shape: the largest volume where no pump adds any; None without a pump.
    """
    single = [one for one in found if one.layer == "node"]
    return max(single, key=_harm, default=None)


def _harm(one: Worst) -> tuple[float, int, str]:
    return one.level or 0.0, one.volume_ul, one.pump


def _worst(
    machine: Machine,
    pump: Pump,
    layer: Layer,
    levels: Mapping[str, Mapping[str, float]],
) -> Worst:
    volume_ul = _volume_ul(machine, pump, layer)
    effects = {
        name: per_ul * volume_ul
        for name, per_ul in sorted(machine.solutions[pump.solution].effects.items())
    }
    tank, guard = machine.tanks[pump.tank], machine.guards.get(pump.tank)
    start = starts_of(tank, levels.get(pump.tank, {})).get(ALKALINITY)
    level = None
    if start is not None and ALKALINITY in effects:
        level = start + canonical(tank, ALKALINITY, effects[ALKALINITY])
    tolerable = None
    if level is not None and guard is not None:
        tolerable = level <= guard.ceiling
    return Worst(
        pump=pump.id,
        tank=pump.tank,
        layer=layer,
        volume_ul=volume_ul,
        effects=effects,
        level=level,
        tolerable=tolerable,
    )


def _volume_ul(machine: Machine, pump: Pump, layer: Layer) -> int:
    node = machine.nodes[pump.node]
    content_ul = machine.reservoirs[pump.reservoir].content_ul
    run_ul = -(-node.cut_limit_ms * pump.rate_nl_per_s // _NL_PER_UL_MS)
    volumes = {
        "cap": pump.per_day_ul,
        "run": run_ul,
        "node": node.day_limit_ul,
        "bottle": content_ul,
    }
    # Nothing flows that is not there.
    return min(volumes[layer], content_ul)
