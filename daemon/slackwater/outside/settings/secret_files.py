"""Which files of a configuration hold secrets, and under which name each is handed on.

Floor 6. One subject: the list of those files. Laws here: none of them is read; two
files never share a name, because the service manager puts them into one folder.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from slackwater.outside.settings.broker import checked_broker, read_broker
from slackwater.outside.settings.documents import MACHINE_FILE, Table, read_document
from slackwater.outside.settings.machine_model import NodeTable
from slackwater.outside.settings.notify import checked_notify, read_notify
from slackwater.outside.settings.tables import Findings, checked, named_tables

# A password or a key can be made anew by anybody; what others made can not.
Kind = Literal["password", "key", "made elsewhere"]
# What a file may be called that is handed over: letters no unit file reads otherwise.
# Source: systemd.exec(5), LoadCredential=; systemd.unit(5), specifiers begin with %.
_NAME = re.compile(r"[A-Za-z0-9._-]{1,64}")


@dataclass(frozen=True, slots=True, kw_only=True)
class SecretFile:
    """One file; `setting` names it in the machine's file.

    One that is not `at_once` is handed over only while pumps are enabled.
    """

    setting: str
    path: Path
    kind: Kind
    at_once: bool = True

    @property
    def name(self) -> str:
        """What it is called where it is handed over."""
        return self.path.name


def secret_files(directory: Path) -> tuple[SecretFile, ...]:
    """Every file with a secret that a configuration directory names.

    Raises: InputError with everything that is wrong in the tables that name them, else
    with names that cannot be handed over or that two files share.
    """
    findings = Findings(MACHINE_FILE)
    _check_tables(read_document(directory, MACHINE_FILE), findings)
    findings.settled(directory)
    found = tuple(_found(directory, findings))
    taken: dict[str, SecretFile] = {}
    for one in found:
        _check_name(one, taken, findings)
        taken.setdefault(one.name, one)
    return findings.settled(found)


def _check_tables(document: Table, findings: Findings) -> None:
    checked_broker(document.get("broker", {}), findings)
    checked_notify(document, findings)
    for identity, raw in named_tables(document, "node", findings).items():
        checked(NodeTable, raw, f"[node.{identity}]", findings)


def _found(directory: Path, findings: Findings) -> Iterator[SecretFile]:
    broker, notify = read_broker(directory), read_notify(directory)
    if broker.observe_password is not None:
        place = "[broker] observe_password_file"
        yield SecretFile(setting=place, path=broker.observe_password, kind="password")
    if broker.actuate_password is not None:
        yield SecretFile(
            setting="[broker] actuate_password_file",
            path=broker.actuate_password,
            kind="password",
            at_once=False,
        )
    if broker.tls_key is not None:
        place = "[broker] key_file"
        yield SecretFile(setting=place, path=broker.tls_key, kind="made elsewhere")
    yield from _node_keys(directory, findings)
    if notify is not None:
        place = "[notify] urls_file"
        yield SecretFile(setting=place, path=notify.urls, kind="made elsewhere")


def _node_keys(directory: Path, findings: Findings) -> Iterator[SecretFile]:
    document = read_document(directory, MACHINE_FILE)
    for identity, raw in named_tables(document, "node", findings).items():
        place = f"[node.{identity}]"
        table = checked(NodeTable, raw, place, findings)
        for field in ("key_file", "second_key_file") if table else ():
            name = getattr(table, field)
            if name is not None:
                path = directory / name
                yield SecretFile(setting=f"{place} {field}", path=path, kind="key")


def _check_name(
    one: SecretFile, taken: dict[str, SecretFile], findings: Findings
) -> None:
    if not _NAME.fullmatch(one.name):
        findings.add(
            one.setting,
            f"the file is called {one.name!r}",
            "a name of letters, digits, dots and dashes, so that it can be handed over",
            "Give the file such a name, here and on the disk.",
        )
    other = taken.get(one.name)
    if other is not None and other.path != one.path:
        findings.add(
            one.setting,
            f"the file has the same name as that of {other.setting}",
            "a name of its own: all are handed over in one folder",
            "Give one of the two files another name.",
        )
