"""Where alarms are sent besides MQTT.

Floor 6. One subject: the table `[notify]`. Laws here: addresses hold secrets, so only
the place of their file is read here; without the table nothing is sent.
"""

from collections.abc import Mapping
from pathlib import Path

from slackwater.outside.settings.documents import (
    MACHINE_FILE,
    handed_over,
    read_document,
)
from slackwater.outside.settings.tables import Findings, checked
from slackwater.outside.settings.wire_model import NotifyTable
from slackwater.outside.wire import NotifySettings

TABLE = "notify"


def read_notify(
    directory: Path, credentials: Path | None = None
) -> NotifySettings | None:
    """What a configuration directory says of messages; None when it says nothing.

    The name starts at `directory`, unless the service manager handed the file over in
    `credentials`. Raises: InputError with everything that is wrong with the table.
    """
    document = read_document(directory, MACHINE_FILE)
    if TABLE not in document:
        return None
    findings = Findings(MACHINE_FILE)
    table = findings.settled(checked_notify(document, findings))
    hour, _, minute = table.summary_at.partition(":")
    return NotifySettings(
        urls=handed_over(directory, credentials, table.urls_file) or directory,
        least=table.least,
        summary_at_utc=(int(hour), int(minute)),
    )


def checked_notify(
    document: Mapping[str, object], findings: Findings
) -> NotifyTable | None:
    """The table, or None when there is none or with everything wrong noted."""
    if TABLE not in document:
        return None
    return checked(NotifyTable, document[TABLE], f"[{TABLE}]", findings)
