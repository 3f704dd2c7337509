"""The rows of pumps that nobody sees run or that drift, and of bottles.

Floor 4. One subject: what stands behind a dose, as rows of the table of alarms. Laws
here: those of `alarms.rows`.
"""

from collections.abc import Mapping

from slackwater.alarms.row import FOLLOWS, Row, coded
from slackwater.facts.alarms import Cause
from slackwater.facts.reasons import Code

BOTTLES: Mapping[Cause, Row] = {
    Cause.DOSES_UNSEEN: Row(
        sentence="Several doses in a row were sent to a pump, and none was seen to "
        "end; what flowed is not known.",
        action="Look at the node's power and at what it refuses (`slackwater ledger`), "
        "and at the broker's rights for commands; test alkalinity.",
        hides=FOLLOWS,
        least="soon",
    ),
    Cause.PUMP_DRIFTS: Row(
        sentence="A pump drifts: its bottle loses more or less than is believed.",
        action="Measure the pump again: `slackwater calibrate`.",
        least="soon",
    ),
    Cause.PUMP_FAR_OFF: coded(
        Code.PUMP_FAR_OFF,
        "Look at hose and head, measure the pump again (`slackwater calibrate`), and "
        "approve again.",
        hides=FOLLOWS,
        least="soon",
    ),
    Cause.PUMP_ANSWERS: Row(
        sentence="A pump, its bottle or the tank's uptake is no longer what it was.",
        action="Read its bottle (`slackwater level`), then `slackwater calibrate` it.",
    ),
    Cause.RESERVOIR_EMPTY: Row(
        sentence="The reservoir must be empty by what was drawn from it.",
        action="Look at the bottle and fill it with the same strength.",
        hides=FOLLOWS | {Cause.SHORT_DELIVERED},
        covers=frozenset({Cause.RESERVOIR_LOW}),
    ),
    Cause.RESERVOIR_LOW: Row(
        sentence="The reservoir is nearly empty.",
        action="Make new solution of the same strength and fill it up.",
    ),
    Cause.BOTTLE_LOST: coded(
        Code.BOTTLE_LOST,
        "Close the outlet, look for a siphon or a leak, and test alkalinity; then, or "
        "at once if the level was mistyped, tell what the bottle holds: `slackwater "
        "refill RESERVOIR --content VOLUME`.",
        hides=FOLLOWS,
        covers=frozenset(
            {
                Cause.PUMP_DRIFTS,
                Cause.PUMP_FAR_OFF,
                Cause.RESERVOIR_EMPTY,
                Cause.RESERVOIR_LOW,
            }
        ),
        rises=True,
        least="urgent",
    ),
}
