"""Volumes typed by people.

Floor 8. One subject: reading what is typed. Laws here: what is typed has a unit and is
read by the settings' own reader, so that one spelling means one thing everywhere.
"""

from slackwater.outside.settings.quantities import Volume
from slackwater.outside.settings.tables import Findings

TYPED = Volume("0 mL", "1000 L")


def typed_ul(text: str, place: str) -> int:
    """The microlitres of a typed volume.

    Raises: InputError naming the place, what was found and what is accepted.
    """
    findings = Findings(place)
    return findings.settled(findings.attempt("", lambda: _read_ul(text)))


def _read_ul(text: str) -> int:
    return int(TYPED.read(text))
