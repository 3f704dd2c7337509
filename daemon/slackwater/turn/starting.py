"""What taking charge leads to when it happens too often.

Floor 4. One subject: a storm of starts. Laws here: only starts that did not follow a
clean stop count; the hold is latched, and a storm that holds already raises no second
one; the live daemon and the virtual house ask this one function.
"""

from datetime import timedelta

from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.facts.tank import Timing
from slackwater.pump.outcome import Stamp


def storm_hold(state: State, timing: Timing, stamp: Stamp) -> HoldRaised | None:
    """The hold that a start leads to, None while there is no storm.

    `state` knows of the start already. How many unclean starts within which time make
    a storm stands in the timing of the machine.
    """
    since = stamp["at"] - timedelta(seconds=timing.starts_within_s)
    recent = sum(at >= since for at in state.unclean_starts)
    if recent < timing.starts_allowed or Code.START_STORM in state.holds:
        return None
    return HoldRaised(
        **stamp,
        hold_id=Code.START_STORM,
        scope="all",
        reason=because(Code.START_STORM, starts=recent),
        latched=True,
    )
