"""Whether figures are served to a monitoring system.

Floor 6. One subject: the table `[metrics]`. Laws here: without the table nothing
listens; with it, only this machine can ask.
"""

from collections.abc import Mapping
from pathlib import Path

from slackwater.outside.settings.documents import MACHINE_FILE, read_document
from slackwater.outside.settings.tables import Findings, checked
from slackwater.outside.settings.wire_model import MetricsTable

TABLE = "metrics"


def read_metrics(directory: Path) -> int | None:
    """The port on which figures are served; None where none are.

    Raises: InputError with everything that is wrong with the table.
    """
    document = read_document(directory, MACHINE_FILE)
    if TABLE not in document:
        return None
    findings = Findings(MACHINE_FILE)
    return findings.settled(checked_metrics(document, findings)).loopback_port


def checked_metrics(
    document: Mapping[str, object], findings: Findings
) -> MetricsTable | None:
    """The table, or None when there is none or with everything wrong noted."""
    if TABLE not in document:
        return None
    return checked(MetricsTable, document[TABLE], f"[{TABLE}]", findings)
