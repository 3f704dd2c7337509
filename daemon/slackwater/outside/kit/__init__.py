"""What tells the author of a node whether it keeps the rules.

Floor 6. One subject: judging a node from outside. Laws here: the node is asked over the
wire and by nothing else; a case says in advance what must be answered.
"""

from slackwater.outside.kit.bench import Bench, Told
from slackwater.outside.kit.cases import CASES, Case
from slackwater.outside.kit.judging import ALL_RULES, Found, Judge
from slackwater.outside.kit.line import Line, Place
from slackwater.outside.kit.plate import Plate
from slackwater.outside.kit.recording import recorded

__all__ = [
    "ALL_RULES",
    "CASES",
    "Bench",
    "Case",
    "Found",
    "Judge",
    "Line",
    "Place",
    "Plate",
    "Told",
    "recorded",
]
