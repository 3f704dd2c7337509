"""Turns `slackwater.toml` into a Machine.

Floor 6. One subject: the machine file as a whole. Laws here: every error of the file
comes out at once; what it offers to a plan is known as far as it could be read.
"""

from dataclasses import dataclass, replace
from functools import partial
from operator import attrgetter
from pathlib import Path

from slackwater.errors import Finding, InputError
from slackwater.facts.tank import Machine
from slackwater.outside.settings.broker import checked_broker
from slackwater.outside.settings.documents import MACHINE_FILE, read_document
from slackwater.outside.settings.doubts import Doubts, doubts_of
from slackwater.outside.settings.guard_model import (
    TimingTable,
    shortened_keys,
    timing_from,
)
from slackwater.outside.settings.home import checked_home
from slackwater.outside.settings.machine_tables import KINDS, MachineReader
from slackwater.outside.settings.metrics import checked_metrics
from slackwater.outside.settings.notify import checked_notify
from slackwater.outside.settings.offered import NOTHING_KNOWN, Offered
from slackwater.outside.settings.tables import Findings, checked
from slackwater.outside.settings.wire_model import SiteHead

_OTHERS = (*KINDS, "broker", "home", "metrics", "notify", "timing")


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineDraft:
    """What could be read of a machine file, and everything that is wrong with it.

    `machine` lacks what was refused; None where nothing could be read, or no timing.
    `doubts` say what of it a plan cannot be held to.
    """

    machine: Machine | None
    offered: Offered
    findings: tuple[Finding, ...]
    doubts: Doubts


def read_machine(directory: Path) -> Machine:
    """The machine of a configuration directory.

    Raises: InputError with everything that is wrong in the file.
    """
    draft = draft_machine(directory)
    if draft.findings or draft.machine is None:
        raise InputError(draft.findings)
    return draft.machine


def draft_machine(directory: Path) -> MachineDraft:
    """The machine of a configuration directory as far as it can be read."""
    try:
        document = read_document(directory, MACHINE_FILE)
    except InputError as error:
        return MachineDraft(
            machine=None,
            offered=NOTHING_KNOWN,
            findings=error.findings,
            doubts=Doubts(),
        )
    findings = Findings(MACHINE_FILE)
    own = {key: value for key, value in document.items() if key not in _OTHERS}
    head = checked(SiteHead, own, "", findings, _OTHERS)
    timing = checked(TimingTable, document.get("timing", {}), "[timing]", findings)
    broker = checked_broker(document.get("broker", {}), findings)
    checked_home(document, findings)
    checked_metrics(document, findings)
    checked_notify(document, findings)
    reader = MachineReader.of(document, findings)
    machine = reader.machine()
    prefix = findings.judge(partial(attrgetter("prefix"), broker)) if broker else None
    if head is not None and prefix is not None:
        reader.check_topics(f"{prefix}/{head.site}")
    return MachineDraft(
        machine=None if timing is None else _timed(machine, head, timing),
        offered=reader.offered(machine.exchanges),
        findings=findings.all,
        doubts=doubts_of(findings.all),
    )


def _timed(machine: Machine, head: SiteHead | None, timing: TimingTable) -> Machine:
    return replace(
        machine,
        site="" if head is None else head.site,
        timing=timing_from(timing),
        shortened_timing=shortened_keys(timing),
        clock_confirmed=timing.clock_confirmed,
    )
