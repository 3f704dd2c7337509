"""How fast a strong solution may run into a stream, and how far doses lie apart.

Floor 1. One subject: what a dose meets before it is mixed. Laws here: a plume that
would fall out is too strong, whatever the tank behind it; a longer gap after a
hydroxide; the gap counts from the end of the last run.
Units: streams in litres per second, pumps in microlitres per second, strengths in
pico-equivalents per microlitre.
Source: mass balance; the limits stay below a saturation of 12 and a pH of 8.6 by the
carbonate system (`carbonate_system`), against about 20 for spontaneous nucleation (from
memory); gaps are common practice, no source.
"""

from slackwater.water.carbonate_system import Base
from slackwater.water.ranges import above_zero

# What a plume may hold above the water around it, meq/L. Bicarbonate hardly moves the
# saturation: the limit of carbonate is safe for it.
MOST_IN_PLUME_MEQ_PER_LITRE: dict[Base, float] = {
    "carbonate": 1.0,
    "bicarbonate": 1.0,
    "hydroxide": 0.5,
}
TURNS_BETWEEN = 3
LEAST_GAP_S = 600.0
LEAST_GAP_AFTER_HYDROXIDE_S = 1800.0
_PEQ_PER_MEQ = 10**9


def fastest_pump_ul_per_s(
    base: Base, alkalinity_peq_per_ul: int, stream_litres_per_s: float
) -> float:
    """The fastest pump that keeps its plume below the limit.

    Units: the stream is what flows past the outlet. Range: both above 0.
    Raises: OutOfRangeError outside it.
    Source: q = Q dA / c.
    """
    above_zero("the strength", alkalinity_peq_per_ul, "peq/uL")
    stream = above_zero("the stream", stream_litres_per_s, "L/s")
    most = stream * MOST_IN_PLUME_MEQ_PER_LITRE[base]
    return most * _PEQ_PER_MEQ / alkalinity_peq_per_ul


def plume_meq_per_litre(
    pump_ul_per_s: float, alkalinity_peq_per_ul: int, stream_litres_per_s: float
) -> float:
    """What a running pump adds to the stream at its outlet.

    Range: all above 0. Raises: OutOfRangeError outside it.
    """
    flow = above_zero("the pump", pump_ul_per_s, "uL/s")
    strength = above_zero("the strength", alkalinity_peq_per_ul, "peq/uL")
    stream = above_zero("the stream", stream_litres_per_s, "L/s")
    return flow * strength / _PEQ_PER_MEQ / stream


def gap_s(net_ul: int, return_ul_per_s: float, *, hydroxide: bool) -> float:
    """Seconds between the end of one run and the start of one that must not meet it.

    Range: both above 0. Raises: OutOfRangeError outside it.
    Source: the larger of three turns of the water and 10 minutes, 30 after a
    hydroxide.
    """
    above_zero("the volume", net_ul, "uL")
    turns = TURNS_BETWEEN * net_ul / above_zero("the return", return_ul_per_s, "uL/s")
    least = LEAST_GAP_AFTER_HYDROXIDE_S if hydroxide else LEAST_GAP_S
    return max(least, turns)
