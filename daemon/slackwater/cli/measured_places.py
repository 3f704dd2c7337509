"""Pumps that hang on another channel than the one they were measured on.

Floor 8. One subject: saying so. Laws here: a calibration is of a pump on its channel;
on another one neither the flow nor the bottle is known, so that what was seen there
proves nothing here.
"""

from collections.abc import Mapping

from slackwater.errors import Finding
from slackwater.facts.events import Calibrated
from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.facts.wear import measured_elsewhere


def moved_pump(known: Calibrated | None, machine: Machine, name: str) -> Finding | None:
    """What is wrong with a pump that was moved since; None where it was not."""
    pump = machine.pumps.get(name)
    place = "" if pump is None else measured_elsewhere(known, pump)
    if pump is None or not place:
        return None
    return Finding(
        what=f"it was measured on {place} and hangs on {pump.node}/{pump.channel} now: "
        "neither its flow nor which bottle it gives is known",
        where=f"pump {name}",
        expected="a calibration where it hangs now",
        # What is measured is what was approved, so that comes first.
        do=f"After it is approved run `slackwater calibrate {name}`, then approve "
        "again.",
    )


def moved_pumps(
    measured: Mapping[str, Calibrated], plan: Plan, machine: Machine
) -> tuple[Finding, ...]:
    """The same for every pump of a plan, in the order of their names."""
    used = sorted({line.pump for line in plan.lines})
    found = (moved_pump(measured.get(name), machine, name) for name in used)
    return tuple(one for one in found if one is not None)
