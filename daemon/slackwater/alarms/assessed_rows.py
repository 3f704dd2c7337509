"""The rows of what an assessment finds in the water.

Floor 4. One subject: findings of assessments, as rows of the table of alarms. Laws
here: those of `alarms.rows`.
"""

from collections.abc import Mapping

from slackwater.alarms.row import Row
from slackwater.facts.alarms import Cause

ASSESSED_ROWS: Mapping[Cause, Row] = {
    Cause.UPTAKE_FELL: Row(
        sentence="The tank uses up much less than it did; the dose is being reduced.",
        action="Look at the animals: this is the earliest sign of trouble.",
        least="soon",
    ),
    Cause.CONTAMINANT: Row(
        sentence="A laboratory found so much of a contaminant that it harms animals.",
        action="Send another sample today and look for its source; `slackwater assess` "
        "has every remedy.",
        least="soon",
    ),
}
