"""The smallest dose a pump gives reliably, as its newest calibration shows it.

Floor 2. One subject: small doses. Laws here: what was measured may raise the smallest
dose that the operator stated and never lowers it; a calibration that says nothing of it
changes nothing.
"""

from dataclasses import replace

from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Pump


def measured_smallest_ul(state: State, pump: Pump) -> int:
    """What was measured, microlitres; 0 where nobody measured it."""
    known = state.calibrations.get(pump.id)
    return 0 if known is None else known.smallest_ul


def smallest_dose_ul(state: State, pump: Pump) -> int:
    """The larger of what was stated and what was measured, microlitres."""
    return max(pump.smallest_dose_ul, measured_smallest_ul(state, pump))


def as_measured(machine: Machine, state: State) -> Machine:
    """The machine with smallest doses no smaller than what was measured.

    Gives the very same machine where nothing was measured to be larger.
    """
    pumps = {
        name: replace(pump, smallest_dose_ul=smallest_dose_ul(state, pump))
        for name, pump in machine.pumps.items()
    }
    return machine if pumps == machine.pumps else replace(machine, pumps=pumps)
