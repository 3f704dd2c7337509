"""`bypass`, `out-of-service`, `in-service`: guards left aside for a while.

Floor 8. One subject: weakening a guard, and taking that back. Laws here: it is done on
this machine, for a named scope or probe, with a reason and an end that comes by itself;
caps, gaps, clocks, nodes and approvals are never left aside; nothing that was missed is
given later.
"""

from collections.abc import Sequence
from datetime import timedelta
from typing import TypedDict, Unpack

import click

from slackwater.cli.aside import bypass_document
from slackwater.cli.document import Answer
from slackwater.cli.moments import Wall
from slackwater.cli.opening import local_user, newest_approval, only, opened, write
from slackwater.cli.render import local, table
from slackwater.cli.shell import Shell, verb
from slackwater.cli.spans import typed_end, typed_span
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.errors import Finding, InputError
from slackwater.facts.events import AnyEvent
from slackwater.facts.safeguards import (
    BypassEnded,
    BypassGranted,
    ProbePutBack,
    ProbeTakenOut,
)
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.gate.bypass import BYPASSABLE
from slackwater.gate.probes import TEST_STANDS_IN
from slackwater.gate.watches import FAMILIES, WATCHES
from slackwater.ledger.codec import timestamp
from slackwater.outside.settings import read_machine
from slackwater.pump.outcome import Stamp

LONGEST = ("1 min", "4 h")
OUT_AT_MOST = timedelta(days=14)
# What a bypass can name, and what it says.
_ABOUT = {**{row.name: row.about for row in WATCHES}, **FAMILIES}


class Asked(TypedDict):
    """What is said with a bypass."""

    scope: str | None
    why: str | None
    span: str | None
    end: bool
    by: str | None


_BY = click.option(
    "--by", metavar="NAME", help="Who says so.  [default: the local user]"
)


@verb(
    "bypass",
    epilog="Stand beside the tank while it lasts. Caps, gaps, clocks, pump nodes and "
    "approvals are never bypassed; what is missed meanwhile is not given later. "
    "Example: slackwater bypass ph-carbonate --scope tank/reef --reason 'probe is "
    "being cleaned' --for 2h",
)
@click.argument("interlock", metavar="[INTERLOCK]", required=False)
@click.option("--scope", metavar="SCOPE", help="all, tank/ID or pump/ID.")
@click.option("--reason", "why", metavar="TEXT", help="Why, for the record.")
@click.option("--for", "span", metavar="SPAN", help="How long, at most 4 h.")
@click.option("--end", is_flag=True, help="End the bypass of INTERLOCK now.")
@_BY
def bypass(shell: Shell, interlock: str | None, **asked: Unpack[Asked]) -> Answer:
    """Leave one interlock aside for a while.

    It ends by itself. Without INTERLOCK it lists those that can be left aside.
    """
    if interlock is None:
        return _listed(shell)
    if interlock not in BYPASSABLE:
        raise InputError(_not_bypassable(interlock))
    who = typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)
    if asked["end"]:
        return _ended(shell, interlock, who)
    return _granted(shell, interlock, who, asked)


def _listed(shell: Shell) -> Answer:
    with opened(shell.state) as found:
        standing = found.state.bypasses
    rows = sorted(_ABOUT.items())
    text = table(("interlock", "it holds or shortens doses when"), rows)
    return Answer(
        fields={
            "interlocks": [_document(name, about) for name, about in rows],
            "bypasses": [bypass_document(one) for one in standing.values()],
        },
        text=text,
    )


def _document(name: str, about: str) -> dict[str, object]:
    """An interlock with what it reaches and how it ends, as the table has them."""
    family = [row for row in WATCHES if name in (row.name, row.family)]
    return {
        "interlock": name,
        "about": about,
        "scope": family[0].scope,
        "effect": family[0].effect,
        "lasting": family[0].lasting,
    }


def _granted(shell: Shell, interlock: str, who: str, asked: Asked) -> Answer:
    missing = [
        option
        for option, given in (
            ("--scope", asked["scope"]),
            ("--reason", asked["why"]),
            ("--for", asked["span"]),
        )
        if not given
    ]
    if missing:
        raise InputError([_missing(option) for option in missing])
    scope, span = str(asked["scope"]), typed_span(str(asked["span"]), "--for", LONGEST)
    why = typed_text(str(asked["why"]), "--reason")

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        _refuse_unknown(scope, _machine(shell, state))
        return [
            BypassGranted(
                **stamp,
                interlock=interlock,
                scope=scope,
                until=stamp["at"] + span,
                why=why,
                by=who,
            )
        ]

    state, events = write(shell.state, decide)
    granted = only(events, BypassGranted)
    until = local(granted.until, _zone(shell, state))
    return Answer(
        fields={"bypass": bypass_document(granted)},
        text=f"Left aside until {until}: {interlock}, for {scope}. It ends by itself; "
        f"sooner with `slackwater bypass {interlock} --end`. Stay beside the tank.",
    )


def _ended(shell: Shell, interlock: str, who: str) -> Answer:
    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        if interlock not in state.bypasses:
            return ()
        return [BypassEnded(**stamp, interlock=interlock, by=who, why="said")]

    _state, events = write(shell.state, decide, makes_safer=True)
    text = f"{interlock} counts again." if events else f"{interlock} was not bypassed."
    return Answer(
        fields={"interlock": interlock, "changed": bool(events)},
        text=text,
    )


@verb(
    "out-of-service",
    epilog="Test by hand meanwhile: without a test of the last 48 h only the base is "
    "dosed, and hydroxide not at all for a pH probe. Example: slackwater "
    "out-of-service kh --until 2026-05-10 --reason 'reagent is on its way'",
)
@click.argument("probe", metavar="PROBE")
@click.option(
    "--until",
    required=True,
    metavar="DATE",
    help="When it counts again by itself: a day or a time, at most 14 days ahead.",
)
@click.option("--reason", "why", default="", metavar="TEXT", help="For the record.")
@_BY
def out_of_service(
    shell: Shell, probe: str, until: str, why: str, by: str | None
) -> Answer:
    """Let hand tests stand in for a probe that cannot be used.

    While no alkalinity probe is in service, doses that follow alkalinity are cut to the
    base, four fifths of the uptake; without a test in 48 hours an alarm asks for one.
    """
    who = typed_text(by or local_user(), "--by", WORD_AT_MOST)
    reason = typed_text(why, "--reason")

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        machine = _machine(shell, state)
        _refuse_no_probe(probe, machine)
        wall = Wall(
            zone=machine.tanks[machine.probes[probe].tank].zone,
            now=stamp["at"],
            option="--until",
            ahead=OUT_AT_MOST,
        )
        end = typed_end(until, wall)
        return [ProbeTakenOut(**stamp, probe=probe, until=end, by=who, why=reason)]

    state, events = write(shell.state, decide)
    taken = only(events, ProbeTakenOut)
    machine = _machine(shell, state)
    configured = machine.probes[probe]
    test = state.levels.get(f"{configured.tank}/{configured.parameter}")
    is_tested = test is not None and taken.at - test.taken_at <= TEST_STANDS_IN
    needed = "" if is_tested else _needs_test(configured.parameter)
    zone = machine.tanks[configured.tank].zone
    return Answer(
        fields={
            "probe": probe,
            "until": timestamp(taken.until),
            "parameter": configured.parameter,
            "is_tested": is_tested,
        },
        text=f"Out of service until {local(taken.until, zone)}: {probe}. "
        f"`slackwater in-service {probe}` ends it sooner.{needed}",
    )


@verb("in-service", epilog="Example: slackwater in-service kh")
@click.argument("probe", metavar="PROBE")
@_BY
def in_service(shell: Shell, probe: str, by: str | None) -> Answer:
    """Let a probe count again."""
    who = typed_text(by or local_user(), "--by", WORD_AT_MOST)

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        if probe not in state.out_of_service:
            _refuse_no_probe(probe, _machine(shell, state))
            return ()
        return [ProbePutBack(**stamp, probe=probe, by=who, why="said")]

    _state, events = write(shell.state, decide)
    text = f"{probe} counts again." if events else f"{probe} was in service."
    return Answer(fields={"probe": probe, "changed": bool(events)}, text=text)


def _needs_test(parameter: str) -> str:
    return (
        f"\nNo {parameter} test of the last 48 h is known: until one is recorded only "
        f"the base is dosed (`slackwater record '{parameter}=…'`)."
    )


def _machine(shell: Shell, state: State) -> Machine:
    approved = newest_approval(state)
    return approved.machine if approved else read_machine(shell.config)


def _zone(shell: Shell, state: State) -> str:
    zones = {tank.zone for tank in _machine(shell, state).tanks.values()}
    return zones.pop() if len(zones) == 1 else "UTC"


def _refuse_unknown(scope: str, machine: Machine) -> None:
    known = [
        "all",
        *(f"tank/{name}" for name in sorted(machine.tanks)),
        *(f"pump/{name}" for name in sorted(machine.pumps)),
    ]
    if scope not in known:
        raise InputError(
            Finding(
                what=f'there is nothing called "{scope}"',
                where="--scope",
                expected=f"one of {', '.join(known)}",
                do="Name one of these; nothing was written.",
            )
        )


def _refuse_no_probe(probe: str, machine: Machine) -> None:
    if probe not in machine.probes:
        raise InputError(
            Finding(
                what=f'no probe is called "{probe}"',
                where="PROBE",
                expected=f"one of {', '.join(sorted(machine.probes)) or 'none'}",
                do="Name one of these; nothing was written.",
            )
        )


def _not_bypassable(interlock: str) -> Finding:
    return Finding(
        what=f'"{interlock[:60]}" cannot be left aside',
        where="INTERLOCK",
        expected=f"one of {', '.join(sorted(BYPASSABLE))}; caps, gaps, clocks, nodes, "
        "approvals and holds by people never",
        do="See `slackwater bypass` for what each one holds; nothing was written.",
    )


def _missing(option: str) -> Finding:
    return Finding(
        what=f"{option} is not given",
        where=option,
        expected="a scope, a reason and a span of at most 4 h",
        do="Say all three; nothing was written.",
    )
