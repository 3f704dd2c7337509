"""Turns probe tables into probes.

Floor 6. One subject: sources of readings. Laws here: a bare number gets its meaning
from the unit stated beside it; a figure outside what the parameter can be is refused.
"""

from functools import partial

from slackwater.facts.tank import Probe
from slackwater.outside.settings.amounts import Amounts
from slackwater.outside.settings.input_model import ProbeTable
from slackwater.outside.settings.inputs import pointer_of
from slackwater.outside.settings.quantities import plain_number
from slackwater.outside.settings.tables import Findings

ALKALINITY = "alkalinity"

# Equal readings of less than this are ordinary; alkalinity goes by chance alone. A
# heated tank and its salt stand still for hours (common practice, no source).
DAY_S = 86_400.0
FROZEN_AFTER_S = {ALKALINITY: 0.0, "ph": 6 * 3600.0}


def probe_from(identity: str, table: ProbeTable, findings: Findings) -> Probe | None:
    """The probe, or None with everything wrong noted."""
    return findings.judge(partial(_probe, identity, table, findings))


def _probe(identity: str, table: ProbeTable, findings: Findings) -> Probe | None:
    place, judge = f"[probe.{identity}]", findings.judge
    scale = findings.attempt(f"{place} scale", lambda: plain_number(table.scale))
    judge(partial(_check_scale, place, table, findings))
    amounts = Amounts(parameter=table.parameter, findings=findings)
    if not amounts.is_known(f"{place} parameter"):
        return None
    linear = judge(lambda: amounts.linear(f"{place} unit", table.unit))
    resolution = judge(lambda: amounts.span(f"{place} resolution", table.resolution))
    ends = judge(partial(_ends, place, table, amounts))
    if linear is None or resolution is None or scale is None or ends is None:
        return None
    low, high = ends
    return Probe(
        id=identity,
        tank=table.tank,
        parameter=table.parameter,
        unit=table.unit,
        scale=linear[0] * float(scale),
        offset=linear[1],
        period_s=table.period,
        resolution=resolution,
        low=low,
        high=high,
        topic=table.topic or "",
        pointer=pointer_of(table.topic, table.pointer),
        frozen_after_s=(
            FROZEN_AFTER_S.get(table.parameter, DAY_S)
            if table.frozen_after is None
            else table.frozen_after
        ),
    )


def _ends(
    place: str, table: ProbeTable, amounts: Amounts
) -> tuple[float, float] | None:
    """The lowest and highest reading to believe, or None with what is wrong noted."""
    low, high = (
        amounts.findings.judge(partial(_end, place, table, amounts, key))
        for key in ("low", "high")
    )
    if low is None or high is None:
        return None
    if not low < high:
        amounts.findings.add(
            f"{place} low", "low is not below high", "low below high", "Swap the two."
        )
    return low, high


def _end(place: str, table: ProbeTable, amounts: Amounts, key: str) -> float | None:
    text = getattr(table, key)
    if text is not None:
        return amounts.level(f"{place} {key}", text)
    return dict(zip(("low", "high"), amounts.plausible(), strict=True))[key]


def _check_scale(place: str, table: ProbeTable, findings: Findings) -> None:
    mapped = table.topic is not None or table.pointer is not None
    if table.scale != ProbeTable.model_fields["scale"].default and not mapped:
        findings.add(
            f"{place} scale",
            "a scale is given for the payload of the contract",
            "a topic or a pointer beside it",
            "Take scale out: the contract's payload carries its own unit.",
        )
