"""`added`: what a person poured in by hand.

Floor 8. One subject: hand additions. Laws here: it is a fact and refused for no cap; it
is charged against the caps like a dose, and what the daemon will hold back for it is
said; what no tank can hold is a slip of the hand.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TypedDict, Unpack

import click

from slackwater.cli.added_text import (
    Counted,
    added_lines,
    back_document,
    far_too_much,
    room_document,
)
from slackwater.cli.amounts import effect_decimal, effect_words
from slackwater.cli.correcting import (
    STRIKE,
    missing_why,
    named,
    refuse_struck,
    struck_words,
)
from slackwater.cli.document import Answer
from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.opening import local_user, only, opened, write
from slackwater.cli.room import (
    Moment,
    held_back,
    planned_ul_of,
    rooms,
)
from slackwater.cli.shell import Shell, verb
from slackwater.cli.subject import Subject, subject_of
from slackwater.cli.told_again import AGAIN_WITHIN, added_again
from slackwater.cli.typed import WORD_AT_MOST, new_id, typed_text, typed_ul
from slackwater.cli.typed_levels import settled, twice, typed_differences
from slackwater.cli.undosed import denied, said_before
from slackwater.errors import Finding, InputError
from slackwater.facts.events import AnyEvent
from slackwater.facts.rolling import KEPT_MS
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Tank
from slackwater.facts.waters import AddedByHand, MeasurementStruck
from slackwater.ledger.by_time import told
from slackwater.ledger.codec import timestamp
from slackwater.ledger.measured import struck_since
from slackwater.planning.lowering import lowered
from slackwater.planning.wall import zone_named
from slackwater.pump.outcome import Stamp
from slackwater.water.parameters import (
    amount_in_litres,
    concentration,
    parameter_named,
)
from slackwater.water.show import show_volume

ADDED = "added"
UL_A_LITRE = 10**6
# A volume and the name of a solution.
WORDS_OF_A_VOLUME = 2


class Asked(TypedDict):
    """What is said with the addition."""

    tank: str | None
    at: str | None
    confirm: bool
    note: str
    by: str | None
    strike: str | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Poured:
    """What went in: of a solution, or amounts without one; effects in pico-units."""

    effects: Mapping[str, int]
    solution: str = ""
    volume_ul: int = 0


@dataclass(slots=True)
class _Told:
    """What a decision found out beside its entry."""

    subject: Subject
    moment: Moment


@verb(
    ADDED,
    epilog="Examples: slackwater added 20 mL carbonate; slackwater added "
    'alkalinity="0.3 dKH" --at "2026-05-03 09:30"; slackwater added --strike '
    "a-1f0c9a77e2 --why 'it was the other tank'. Stock solutions can burn skin and "
    "eyes: wear eye protection, and never mix them.",
)
@click.argument("words", metavar="[VOLUME SOLUTION | NAME=VALUE...]", nargs=-1)
@click.option("--tank", metavar="ID", help="Which tank.  [default: the only one]")
@click.option(
    "--at",
    metavar="TIME",
    help='When, like "2026-05-03 09:30" on the tank\'s own clock, or with an offset.  '
    "[default: now]",
)
@click.option(
    "--confirm",
    is_flag=True,
    help="It is right although it was said that nothing was dosed then, or the same "
    "was told within 10 minutes.",
)
@click.option("--note", default="", metavar="TEXT", help="For the record.")
@click.option("--by", metavar="NAME", help="Who did it.  [default: the local user]")
@click.option(STRIKE, metavar="ID", help="This addition never happened.")
@click.option("--why", default="", metavar="TEXT", help="Why it is struck.")
def added(shell: Shell, words: tuple[str, ...], **asked: Unpack[Asked]) -> Answer:
    """Tell what was poured in by hand.

    Either a volume of a solution of the machine, or by how much the tank rises by it.
    It counts against the caps of 24 hours like a dose, so the daemon gives less; told
    late, it counts from when it was given. Nothing is refused for a cap: it is in the
    water already. In a time of which `slackwater event nothing_dosed` told, and where
    the same was told within 10 minutes, it needs --confirm.
    """
    settled(_unclear(words, asked))
    who = typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)
    if asked["strike"] is not None:
        return _strike(shell, asked["strike"], who, typed_text(asked["why"], "--why"))
    note, found = typed_text(asked["note"], "--note"), list[_Told]()
    # What is poured in now was poured in after the ledger was made.
    is_asked = asked["at"] is not None and not asked["confirm"]
    before = said_before(shell.state) if is_asked else None
    earlier = [] if asked["confirm"] else _just_told(shell)

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        subject = subject_of(shell, state, asked["tank"])
        machine, tank = subject.described
        at = typed_moment(asked["at"], Wall(zone=subject.zone, now=stamp["at"]))
        poured = _poured(words, machine, tank)
        if before is not None:
            settled(denied(before, subject.tank, at, subject.zone))
        moment = Moment(utc=stamp["at"], proven_ms=stamp["proven_ms"])
        found[:] = [_Told(subject, moment)]
        entry = AddedByHand(
            **stamp,
            id=new_id("a"),
            tank=subject.tank,
            given_at=at,
            local_day=at.astimezone(zone_named(subject.zone)).date(),
            by=who,
            solution=poured.solution,
            volume_ul=poured.volume_ul,
            effects=poured.effects,
            note=note,
        )
        settled(added_again(entry, earlier))
        return [entry]

    state, written = write(shell.state, decide)
    return _answer(state, only(written, AddedByHand), found[0])


def _just_told(shell: Shell) -> list[AddedByHand]:
    """What was told within minutes and stands."""
    with opened(shell.state) as found:
        since = found.now.utc - AGAIN_WITHIN
        struck = struck_since(found.ledger, since)
        return [
            one
            for one in told(found.ledger, AddedByHand, since)
            if one.id not in struck
        ]


def _poured(words: Sequence[str], machine: Machine, tank: Tank) -> Poured:
    if any("=" in word for word in words):
        poured = _of_amounts(words, tank)
    else:
        poured = _of_solution(words, machine, tank)
    settled(_impossible(poured, tank))
    return poured


def _of_amounts(words: Sequence[str], tank: Tank) -> Poured:
    typed = typed_differences(words, ADDED)
    settled(twice(typed, ADDED))
    litres = Fraction(tank.net_ul, UL_A_LITRE)
    return Poured(
        effects={
            one.parameter: amount_in_litres(one.parameter, one.level, litres)
            for one in typed
        }
    )


def _of_solution(words: Sequence[str], machine: Machine, tank: Tank) -> Poured:
    *volume, name = words
    solution = machine.solutions.get(name)
    if solution is None or not volume:
        raise InputError(_no_solution(words, machine))
    volume_ul = typed_ul(" ".join(volume), ADDED)
    if not 0 < volume_ul <= tank.net_ul:
        raise InputError(_no_volume(volume_ul, tank))
    return Poured(
        solution=name,
        volume_ul=volume_ul,
        effects={
            parameter: per_ul * volume_ul
            for parameter, per_ul in sorted(solution.effects.items())
        },
    )


def _impossible(poured: Poured, tank: Tank) -> Iterator[Finding]:
    """Findings for more than any water can hold."""
    litres = Fraction(tank.net_ul, UL_A_LITRE)
    for name, amount in poured.effects.items():
        if (
            float(concentration(name, amount, litres))
            > parameter_named(name, where="").never_above
        ):
            yield Finding(
                what=f"that is {effect_words(name, amount, tank)} of {name}",
                where=ADDED,
                expected="what can have gone into this tank",
                do="Check the figure and its unit; nothing was written.",
            )


def _strike(shell: Shell, wanted: str, who: str, why: str) -> Answer:
    settled(missing_why(STRIKE, why))
    with opened(shell.state) as found:
        named(told(found.ledger, AddedByHand), wanted, STRIKE)
        refuse_struck(found.ledger, wanted, STRIKE)

    def decide(_state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        return [MeasurementStruck(**stamp, measurement=wanted, by=who, why=why)]

    write(shell.state, decide)
    return Answer(
        fields={"struck": {"id": wanted, "why": why, "by": who}},
        text=f"{struck_words(wanted, why)} What it was charged against the caps "
        "stays charged until its 24 hours are over.",
    )


def _binding(state: State, subject: Subject) -> tuple[Machine, Tank]:
    """Machine and tank with the caps that count, which the file may hold lower."""
    machine = lowered(subject.described[0], state.lowered)
    return machine, machine.tanks[subject.tank]


def _answer(state: State, entry: AddedByHand, found: _Told) -> Answer:
    machine, tank = _binding(state, found.subject)
    age_ms = (entry.at - entry.given_at).total_seconds() * 1000
    counts = age_ms < KEPT_MS
    left = rooms(state, machine, tank, entry.effects, found.moment)
    back = list(held_back(state, tank.id, left, found.moment)) if counts else []
    planned, _machine = planned_ul_of(state, tank.id, found.moment.utc)
    told = Counted(back=back, is_planned=bool(planned)) if counts else None
    return Answer(
        fields={
            "added": {
                "id": entry.id,
                "tank": entry.tank,
                "given_at": timestamp(entry.given_at),
                "solution": entry.solution,
                "volume_ul": entry.volume_ul,
                "effects": {
                    name: effect_decimal(name, amount, tank)
                    for name, amount in entry.effects.items()
                },
                "by": entry.by,
                "note": entry.note,
            },
            "counts": counts,
            "caps": [room_document(room, tank) for room in left],
            "held_back": [back_document(one) for one in back],
        },
        text="\n".join(
            (
                *added_lines(entry, tank, left, told),
                *far_too_much(entry, left if counts else ()),
            )
        ),
    )


def _unclear(words: Sequence[str], asked: Asked) -> Iterator[Finding]:
    striking = asked["strike"] is not None
    if striking == bool(words):
        yield Finding(
            what="an addition and --strike are both given"
            if words
            else "nothing is said to have been added",
            where=ADDED,
            expected=f"what was added, or {STRIKE} alone",
            do="As in `slackwater added 20 mL carbonate`; nothing was written.",
        )
    elif asked["why"] and not striking:
        yield Finding(
            what="--why has no meaning here",
            where=ADDED,
            expected=f"--why beside {STRIKE}",
            do="Use --note; nothing was written.",
        )


def _no_solution(words: Sequence[str], machine: Machine) -> Finding:
    names = ", ".join(sorted(machine.solutions))
    return Finding(
        what=f'"{" ".join(words)}" is not a volume of a known solution',
        where=ADDED,
        expected=f"a volume and one of {names}",
        do="As in `slackwater added 20 mL carbonate`, or say by how much the tank "
        'rises: alkalinity="0.3 dKH"; nothing was written.',
    )


def _no_volume(volume_ul: int, tank: Tank) -> Finding:
    return Finding(
        what=f"{show_volume(volume_ul)} cannot have gone into {tank.id}",
        where=ADDED,
        expected=f"more than nothing and at most {show_volume(tank.net_ul)}",
        do="Check the figure and its unit; nothing was written.",
    )
