"""Turns switch tables into switches, and checks where mapped inputs speak.

Floor 6. One subject: inputs that are on, off or counted. Laws here: a word means one
thing; a mapped topic is never one of the daemon's own.
"""

from collections.abc import Mapping, Sequence
from functools import partial
from operator import attrgetter
from typing import Protocol

from slackwater.facts.limits import Role, Switch
from slackwater.outside.settings.input_model import ProbeTable, SwitchTable
from slackwater.outside.settings.tables import Findings, listed, shown

# Roles whose normal state is on; the others are off when all is well.
NORMALLY_ON: frozenset[Role] = frozenset({"return-pump", "skimmer", "air"})
# How long all must be well again, seconds: water must mix, food must be eaten
# (common practice, no source).
HOLD_AT_LEAST_S: Mapping[Role, float] = {
    "return-pump": 600.0,
    "level": 600.0,
    "feeding": 300.0,
}
A_MINUTE_S = 60.0
UNIT_UL = {"uL": 1, "mL": 1_000, "L": 1_000_000}
COUNTER: Role = "top-off"
# Buttons may speak only when they are pressed; all else proves that it lives.
BUTTONS: frozenset[Role] = frozenset({"feeding", "hands"})


def switches_from(
    tables: Mapping[str, SwitchTable], findings: Findings
) -> dict[str, Switch]:
    """Every switch that can be read; only good when nothing was noted."""
    found = {}
    for identity, table in tables.items():
        for check in _CHECKS:
            findings.judge(partial(check, f"[switch.{identity}]", table, findings))
        switch = findings.judge(partial(_switch, identity, table))
        if switch is not None:
            found[identity] = switch
    return found


def check_topics(
    kind: str,
    tables: Mapping[str, ProbeTable | SwitchTable],
    root: str,
    findings: Findings,
) -> None:
    """Note mapped topics of probes or switches that lie among the daemon's own."""
    for identity, table in tables.items():
        topic = findings.judge(partial(attrgetter("topic"), table)) or ""
        if topic.startswith(f"{root}/"):
            findings.add(
                f"[{kind}.{identity}] topic",
                f"{shown(topic)} is one of the daemon's own topics",
                f"a topic that does not begin with {root}/",
                "Let it speak on a topic of its own, or as the contract says.",
            )


def _switch(identity: str, table: SwitchTable) -> Switch:
    hold_s = table.hold_at_least
    if hold_s is None:
        hold_s = HOLD_AT_LEAST_S.get(table.role, A_MINUTE_S)
    normal_on = table.role in NORMALLY_ON
    return Switch(
        id=identity,
        tank=table.tank,
        role=table.role,
        normal_on=normal_on if table.normal is None else table.normal == "on",
        on=tuple(table.on),
        off=tuple(table.off),
        topic=table.topic or "",
        pointer=pointer_of(table.topic, table.pointer),
        pump=table.pump or "",
        period_s=table.period,
        grace_s=table.grace,
        hold_at_least_s=hold_s,
        unit_ul=UNIT_UL[table.unit] if table.unit else 0,
    )


def pointer_of(topic: str | None, pointer: str | None) -> str | None:
    """Where in a payload the value stands; None for the payload of the contract."""
    return "" if pointer is None and topic is not None else pointer


class Worded(Protocol):
    """A table with words that mean on, and words that mean off."""

    @property
    def on(self) -> Sequence[str]:
        """What means on."""

    @property
    def off(self) -> Sequence[str]:
        """What means off."""


def check_words(place: str, table: Worded, findings: Findings) -> None:
    """Refuse a word that means on and off, of a switch as of a relay."""
    both = sorted({*table.on} & {*table.off})
    if both:
        findings.add(
            f"{place} on",
            f"{listed(both)} means on and off",
            "words that mean one of the two",
            "Take each out of one list.",
        )


def _check_pump(place: str, table: SwitchTable, findings: Findings) -> None:
    _check_role(place, table, ("pump", "power"), findings)


def _check_unit(place: str, table: SwitchTable, findings: Findings) -> None:
    _check_role(place, table, ("unit", COUNTER), findings)


def _check_role(
    place: str, table: SwitchTable, pair: tuple[str, Role], findings: Findings
) -> None:
    key, role = pair
    given = getattr(table, key) is not None
    if given and table.role != role:
        findings.add(
            f"{place} {key}",
            f"{key} is given for the role {table.role}",
            f"{key} beside the role {role} alone",
            f"Take {key} out or mend the role.",
        )
    elif not given and table.role == role:
        findings.add(
            f"{place} {key}",
            f"{key} is missing for the role {role}",
            f"{key} beside it",
            f'Add a line like  {key} = "…"',
        )


def _check_period(place: str, table: SwitchTable, findings: Findings) -> None:
    if not table.period and table.role not in BUTTONS:
        findings.add(
            f"{place} period",
            f"a switch of the role {table.role} that may be silent proves nothing",
            "a period above 0 s; 0 s for feeding and hands alone",
            "Let it speak at least once a day and say how often.",
        )


def _check_counter(place: str, table: SwitchTable, findings: Findings) -> None:
    if table.role == COUNTER and table.topic is None and table.pointer is None:
        findings.add(
            f"{place} pointer",
            "the contract has no payload for a counter",
            "a topic, a pointer or both",
            'Add a line like  topic = "cellar/top-off/total"',
        )


# Each asks for no more than it judges, so that a key that was refused hides no other.
_CHECKS = (check_words, _check_pump, _check_unit, _check_period, _check_counter)
