"""Where the broker is and which files hold the secrets of the wire.

Floor 6. One subject: the wire's part of `slackwater.toml`. Laws here: no password is
read here, only its place; what the broker is called is no part of what is approved.
"""

from collections.abc import Collection
from functools import partial
from pathlib import Path

from slackwater.errors import InputError
from slackwater.outside.settings.documents import (
    MACHINE_FILE,
    handed_over,
    read_document,
    read_key,
)
from slackwater.outside.settings.home import read_home
from slackwater.outside.settings.machine_model import (
    NodeTable,
)
from slackwater.outside.settings.partial import readable
from slackwater.outside.settings.tables import Findings, checked, named_tables
from slackwater.outside.settings.wire_model import BrokerTable, SiteHead
from slackwater.outside.wire import BrokerSettings

# The one that signs, and the one that also counts while keys are changed.
KEY_FILE, SECOND_KEY_FILE = "key_file", "second_key_file"
# These make sense in pairs only.
_PAIRS = (
    ("certificate_file", "key_file"),
    ("observe_user", "observe_password_file"),
    ("actuate_user", "actuate_password_file"),
)


def read_broker(
    directory: Path, credentials: Path | None = None, *, with_home: bool = True
) -> BrokerSettings:
    """The broker of a configuration directory.

    Names of files start at `directory`. A secret that the service manager handed over,
    under its file's name in `credentials`, is read there instead. `with_home` reads
    what home automation is told as well.
    Raises: InputError with everything that is wrong with the tables.
    """
    document = read_document(directory, MACHINE_FILE)
    findings = Findings(MACHINE_FILE)
    site = checked(SiteHead, _own(document, SiteHead), "", findings)
    table = checked_broker(document.get("broker", {}), findings)
    site, table = findings.settled(site), findings.settled(table)
    return BrokerSettings(
        host=table.host,
        port=table.port,
        site=site.site,
        prefix=table.prefix,
        tls_ca=_at(directory, table.ca_file),
        tls_cert=_at(directory, table.certificate_file),
        tls_key=handed_over(directory, credentials, table.key_file),
        observe_user=table.observe_user or "",
        observe_password=handed_over(
            directory, credentials, table.observe_password_file
        ),
        actuate_user=table.actuate_user or "",
        actuate_password=handed_over(
            directory, credentials, table.actuate_password_file
        ),
        home=read_home(directory) if with_home else None,
    )


def read_node_keys(
    directory: Path,
    credentials: Path | None = None,
    field: str = KEY_FILE,
    nodes: Collection[str] | None = None,
) -> dict[str, bytes]:
    """The keys of the nodes that sign, by node; with `field` those of another use.

    With `nodes` these alone are looked at, and of their tables what says of keys: the
    rest may be half written, for another approval.
    Raises: InputError with every key file that cannot be used, and every second key
    of a node that has no first.
    """
    document = read_document(directory, MACHINE_FILE)
    findings = Findings(MACHINE_FILE)
    keys: dict[str, bytes] = {}
    for identity, raw in _node_tables(document, nodes, findings).items():
        place = f"[node.{identity}]"
        named = _names_of_keys(raw, place, findings, partly=nodes is not None)
        name = None if named is None else named[field]
        if named is None or name is None:
            continue
        if named[KEY_FILE] is None:
            _no_first_key(place, findings)
            continue
        path = handed_over(directory, credentials, name) or directory
        try:
            keys[identity] = read_key(path, "")
        except InputError as error:
            findings.adopt(f"{place} {field}", error)
    return findings.settled(keys)


def _node_tables(
    document: dict[str, object], nodes: Collection[str] | None, findings: Findings
) -> dict[str, object]:
    if nodes is None:
        return named_tables(document, "node", findings)
    tables = document.get("node")
    known = tables if isinstance(tables, dict) else {}
    return {name: known[name] for name in sorted(nodes) if name in known}


def _names_of_keys(
    raw: object, place: str, findings: Findings, *, partly: bool
) -> dict[str, str | None] | None:
    """Which files hold the keys of a node; None with what is wrong noted."""
    noted = Findings(MACHINE_FILE)
    table = readable(NodeTable, raw, place, noted)
    named = None if table is None else noted.judge(partial(_keys_in, table))
    if named is None or not partly:
        # One of which nobody can say whether it signs is not one that does not.
        checked(NodeTable, raw, place, findings)
    return named


def _keys_in(table: NodeTable) -> dict[str, str | None]:
    return {KEY_FILE: table.key_file, SECOND_KEY_FILE: table.second_key_file}


def _no_first_key(place: str, findings: Findings) -> None:
    findings.add(
        f"{place} {KEY_FILE}",
        f"{SECOND_KEY_FILE} is given and {KEY_FILE} is not",
        "a key to sign with, beside the second one",
        f"Call it {KEY_FILE}, or add the key the node signs with.",
    )


def checked_broker(raw: object, findings: Findings) -> BrokerTable | None:
    """The broker's table, None when it is none; only good when nothing was noted."""
    table = readable(BrokerTable, raw, "[broker]", findings)
    if table is None:
        return None
    for pair in _PAIRS:
        findings.judge(partial(_check_pair, table, pair, findings))
    findings.judge(partial(_check_authority, table, findings))
    return table


def _check_pair(table: BrokerTable, pair: tuple[str, str], findings: Findings) -> None:
    one, other = pair
    given, missing = (one, other) if getattr(table, one) is not None else (other, one)
    if getattr(table, given) is not None and getattr(table, missing) is None:
        findings.add(
            f"[broker] {missing}",
            f"{given} is given and {missing} is not",
            "both or neither",
            f"Add {missing}, or take {given} out.",
        )


def _check_authority(table: BrokerTable, findings: Findings) -> None:
    if table.certificate_file is not None and table.ca_file is None:
        findings.add(
            "[broker] ca_file",
            "certificate_file is given and ca_file is not",
            "the authority that vouches for the broker",
            "Add ca_file: it turns TLS on.",
        )


def _own(document: dict[str, object], model: type[SiteHead]) -> dict[str, object]:
    return {key: document[key] for key in model.model_fields if key in document}


def _at(directory: Path, name: str | None) -> Path | None:
    return None if name is None else directory / name
