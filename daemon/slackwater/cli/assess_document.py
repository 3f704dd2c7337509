"""An assessment as the fields of a JSON document.

Floor 8. One subject: records → plain JSON. Laws here: everything an assessment holds is
in it; levels are canonical and the unit of each parameter stands beside; times are RFC
3339; no figure has more digits than anyone measures.
"""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from enum import Enum

from slackwater.assessment.records import Assessment
from slackwater.ledger.codec import timestamp
from slackwater.water.parameters import PARAMETERS

DIGITS = 6


def assess_document(found: Assessment) -> dict[str, object]:
    """Every field of the assessment, with the canonical unit of each parameter."""
    document = {item.name: plain(getattr(found, item.name)) for item in fields(found)}
    named = {*found.standings, *found.traces}
    units = {
        name: item.canonical_unit for name, item in PARAMETERS.items() if name in named
    }
    return {**document, "alarm": found.has_alarm, "units": units}


def plain(value: object) -> object:
    """A record, or anything in one, as what JSON knows."""
    if is_dataclass(value) and not isinstance(value, type):
        return {item.name: plain(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain(one) for one in value]
    return _scalar(value)


def _scalar(value: object) -> object:
    if isinstance(value, datetime):
        return timestamp(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}")
    return value
