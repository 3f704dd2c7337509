"""How long tubes have run: since they were new, and since their pump was measured.

Floor 2. One subject: run time by pump. Laws here: a run counts as long as it was
reported, else as long as it was asked; only a swap makes a tube new, only a
calibration makes a rate new; nothing here judges.
Units: milliseconds and seconds of run time.
Source: shares of a tube's life are common practice, no source.
"""

from slackwater.facts.events import Calibrated
from slackwater.facts.safeguards import TubeSwapped
from slackwater.facts.state import State
from slackwater.facts.tank import Pump

MS_PER_S = 1000
# A tube of which so much is behind is bought, and soon swapped.
NEARLY_WORN = 0.9
# After so much of a tube's life a pump is measured again, whatever its age in days.
MEASURED_SHARE = 0.25
# So far beyond that it is told again, as 90 days are to 75.
MEASURED_LATE = 1.2


def wear(state: State, pump: str, ran_ms: int) -> None:
    """Count one run."""
    state.run_ms[pump] = state.run_ms.get(pump, 0) + ran_ms


def fold_calibrated(state: State, event: Calibrated) -> None:
    """The newest calibration is in force; what ran before it is of the past."""
    state.calibrations[event.pump] = event
    state.measured_run_ms[event.pump] = state.run_ms.get(event.pump, 0)


def fold_tube_swapped(state: State, event: TubeSwapped) -> None:
    """The tube is new."""
    state.tubes[event.pump] = event.at
    state.tube_run_ms[event.pump] = state.run_ms.get(event.pump, 0)


def tube_run_s(state: State, pump: str) -> float:
    """Seconds that the tube of a pump ran; all that is known where none was swapped."""
    run_ms = state.run_ms.get(pump, 0) - state.tube_run_ms.get(pump, 0)
    return run_ms / MS_PER_S


def tube_share(state: State, pump: Pump) -> float:
    """The part of its tube's life that is behind; 1 and more when it is worn."""
    return tube_run_s(state, pump.id) / pump.tube_life_s


def measured_share(state: State, pump: Pump) -> float:
    """The part behind of what a pump runs between two calibrations; 1 when due."""
    run_ms = state.run_ms.get(pump.id, 0) - state.measured_run_ms.get(pump.id, 0)
    return run_ms / MS_PER_S / (pump.tube_life_s * MEASURED_SHARE)


def measured_elsewhere(known: Calibrated | None, pump: Pump) -> str:
    """Where a pump hung when it was measured, if not where it hangs now.

    Shape: `NODE/CHANNEL`; empty where nothing speaks of another place.
    """
    if known is None or not known.node:
        return ""
    place = known.node, known.channel
    return "" if place == (pump.node, pump.channel) else "/".join(place)


def is_unmeasured(state: State, pump: str) -> bool:
    """Whether a tube is newer than the calibration that counts with it.

    A pump that nobody ever measured has no rate that a new tube could make wrong.
    """
    swapped, known = state.tubes.get(pump), state.calibrations.get(pump)
    return swapped is not None and known is not None and swapped >= known.at
