"""Whether the tanks announce themselves to home automation.

Floor 6. One subject: the table `[home]`. Laws here: without the table nothing is
announced and nothing is taken away; the topics of announcements never lie among the
daemon's own.
"""

from collections.abc import Mapping
from pathlib import Path

from slackwater.outside.settings.documents import MACHINE_FILE, read_document
from slackwater.outside.settings.tables import Findings, checked
from slackwater.outside.settings.wire_model import HomeTable
from slackwater.outside.wire import PREFIX, HomeSettings

TABLE = "home"


def read_home(directory: Path) -> HomeSettings | None:
    """What a configuration directory says of home automation; None when nothing.

    Raises: InputError with everything that is wrong with the table.
    """
    document = read_document(directory, MACHINE_FILE)
    if TABLE not in document:
        return None
    findings = Findings(MACHINE_FILE)
    table = findings.settled(checked_home(document, findings))
    return HomeSettings(discovery=table.discovery, announce=table.announce)


def checked_home(
    document: Mapping[str, object], findings: Findings
) -> HomeTable | None:
    """The table, or None when there is none or with everything wrong noted."""
    if TABLE not in document:
        return None
    table = checked(HomeTable, document[TABLE], f"[{TABLE}]", findings)
    broker = document.get("broker", {})
    own = str(broker.get("prefix", PREFIX)) if isinstance(broker, dict) else PREFIX
    if table is not None and f"{table.discovery}/".startswith(f"{own}/"):
        findings.add(
            f"[{TABLE}] discovery",
            f'"{table.discovery}" begins as the daemon\'s own topics do',
            f"a prefix outside {own}",
            'Write the prefix of the home automation, mostly "homeassistant".',
        )
    return table
