"""`record`: what a test showed.

Floor 8. One subject: hand tests, their corrections, and kits tried on a standard. Laws
here: all values of a call are written or none; an entry is corrected by a later one,
never changed; nothing that is written here can raise a dose by itself.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TypedDict, Unpack

import click

from slackwater.cli.correcting import (
    CORRECT,
    STRIKE,
    missing_why,
    standing_test,
    strikable,
    struck_words,
)
from slackwater.cli.document import Answer
from slackwater.cli.forms_taken import form_lines
from slackwater.cli.high_now import high_lines
from slackwater.cli.measuring import (
    About,
    before,
    document_of,
    entries_of,
    in_place_of,
    near_tests,
    nearest,
    others_near,
    read_tests,
    refuse_jumps,
    replicates_near,
    words_of,
)
from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.opening import local_user, only, opened, write
from slackwater.cli.render import local, table
from slackwater.cli.replicates import mean_lines, replicate_words
from slackwater.cli.shell import Shell, verb
from slackwater.cli.standards import (
    Trial,
    bias_words,
    standard_document,
    standard_of,
)
from slackwater.cli.subject import UTC_ZONE, Subject, subject_of
from slackwater.cli.typed import typed_text
from slackwater.cli.typed_levels import settled
from slackwater.errors import Finding, InputError
from slackwater.facts.events import AnyEvent
from slackwater.facts.state import State
from slackwater.facts.waters import (
    MeasurementKept,
    MeasurementStruck,
    StandardChecked,
)
from slackwater.pump.outcome import Stamp


class Asked(TypedDict):
    """What is said with the values."""

    tank: str | None
    at: str | None
    method: str
    lot: str
    note: str
    by: str | None
    confirm: bool
    correct: str | None
    strike: str | None
    why: str
    standard: str | None
    found: str | None


@verb(
    "record",
    epilog='Examples: slackwater record alkalinity="8.1 dKH" calcium="418 mg/L" '
    '--method drops; slackwater record phosphate="<0.02 mg/L PO4" --at "2026-05-03 '
    '09:30" --method drops; slackwater record alkalinity="8.1 dKH" '
    "--correct m-1f0c9a77e2; slackwater record --strike m-1f0c9a77e2 --why 'wrong "
    "tank'; slackwater record --standard "
    'alkalinity="7.0 dKH" --found "7.3 dKH" --method drops --lot 12. Salinity also as '
    '"1.0264 SG 25/25" or "53 mS/cm at 25 degC".',
)
@click.argument("values", metavar="[NAME=VALUE]...", nargs=-1)
@click.option("--tank", metavar="ID", help="Which tank.  [default: the only one]")
@click.option(
    "--at",
    metavar="TIME",
    help='When the water was taken, like "2026-05-03 09:30" on the tank\'s own clock, '
    "or with an offset.  [default: now]",
)
@click.option(
    "--method",
    default="",
    metavar="TEXT",
    help="By which kit or device. Say it each time, in the same word: a trend is "
    "drawn within one method only.",
)
@click.option("--lot", default="", metavar="TEXT", help="Which lot of it.")
@click.option("--note", default="", metavar="TEXT", help="For the record.")
@click.option("--by", metavar="NAME", help="Who tested.  [default: the local user]")
@click.option(
    "--confirm",
    is_flag=True,
    help="It is right although it is unusual or far from its neighbour.",
)
@click.option(CORRECT, metavar="ID", help="It takes the place of this entry.")
@click.option(
    STRIKE, metavar="ID", help="This test, or trial of a kit, should not be there."
)
@click.option(
    "--why", default="", metavar="TEXT", help="Why it is struck or corrected."
)
@click.option(
    "--standard", metavar="NAME=VALUE", help="A kit was tried on this reference."
)
@click.option("--found", metavar="VALUE", help="What the kit showed in it.")
def record(shell: Shell, values: tuple[str, ...], **asked: Unpack[Asked]) -> Answer:
    """Write down what a test showed.

    Each value is a name and a figure with its unit, in quotes: alkalinity="8.1 dKH".
    "<" in front means that nothing was seen above that limit. Values of the same
    method within 30 minutes are read as one, their mean; further apart than such tests
    differ, they are asked about, and where they are confirmed the highest counts. What
    is unusual, or over 30 % away from what was measured nearest in time, needs
    --confirm; so does, within a week, a change of over 1.5 dKH, 78 mg/L calcium or
    236 mg/L magnesium. Nothing is dosed from a test alone.
    """
    settled(_unclear(values, asked))
    if asked["strike"] is not None:
        return _strike(shell, asked["strike"], asked)
    if asked["standard"] is not None:
        return _standard(shell, asked["standard"], asked)
    if asked["correct"] is not None:
        return _correct(shell, values, asked["correct"], asked)
    return _record(shell, values, asked)


def _about(asked: Asked) -> About:
    return About(
        by=asked["by"] or local_user(),
        at=asked["at"],
        method=asked["method"],
        lot=asked["lot"],
        # Why a test was corrected is what its entry notes.
        note=asked["note"] or asked["why"],
        confirmed=asked["confirm"],
    )


@dataclass(slots=True)
class _Told:
    """What a decision found out beside its entries."""

    subject: Subject
    known: Sequence[MeasurementKept | None] = ()
    earlier: Sequence[MeasurementKept] = ()


def _record(shell: Shell, values: Sequence[str], asked: Asked) -> Answer:
    about, told = _about(asked), _Told(subject=Subject(tank=""))
    near = _near(shell, asked, about)

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        subject = subject_of(shell, state, asked["tank"])
        tests = read_tests(values, subject, about, stamp)
        refuse_jumps(near, tests)
        kept = entries_of(tests, stamp)
        told.subject, told.earlier = subject, replicates_near(near, tests)
        told.known = [nearest(near, one) or before(state, one) for one in kept]
        return kept

    state, written = write(shell.state, decide)
    return _recorded(_tests(written), told, state)


def _near(shell: Shell, asked: Asked, about: About) -> list[MeasurementKept]:
    with opened(shell.state) as found:
        subject = subject_of(shell, found.state, asked["tank"])
        now = found.stamp["at"]
        at = typed_moment(about.at, Wall(zone=subject.zone, now=now))
        return near_tests(found.ledger, subject.tank, at)


def _correct(shell: Shell, values: Sequence[str], wanted: str, asked: Asked) -> Answer:
    about = _about(asked)
    with opened(shell.state) as found:
        wrong = standing_test(found.ledger, wanted, CORRECT)
        zone = subject_of(shell, found.state, asked["tank"] or wrong.tank).zone
        wall = Wall(zone=zone, now=found.stamp["at"])
        at = typed_moment(about.at, wall) if about.at else wrong.taken_at
        near = others_near(found.ledger, wrong, at)
    told = _Told(subject=Subject(tank=wrong.tank), known=[wrong])

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        subject = subject_of(shell, state, asked["tank"] or wrong.tank)
        tests = read_tests(values, subject, about, stamp)
        kept = [_corrected(one, wrong, about) for one in entries_of(tests, stamp)]
        settled(_another(wrong, kept))
        refuse_jumps(near, in_place_of(wrong, tests))
        told.subject = subject
        return kept

    state, written = write(shell.state, decide)
    return _recorded(_tests(written), told, state)


def _corrected(
    kept: MeasurementKept, wrong: MeasurementKept, about: About
) -> MeasurementKept:
    """What is not said anew stays as it was."""
    return replace(
        kept,
        supersedes=wrong.id,
        taken_at=kept.taken_at if about.at else wrong.taken_at,
        method=kept.method or wrong.method,
        lot=kept.lot or wrong.lot,
        provenance=wrong.provenance,
        sample=wrong.sample,
        report=wrong.report,
    )


def _another(wrong: MeasurementKept, kept: Sequence[MeasurementKept]) -> list[Finding]:
    """A finding when the correction is of something else than what was wrong."""
    same = [(one.tank, one.parameter) for one in kept]
    if same == [(wrong.tank, wrong.parameter)]:
        return []
    return [
        Finding(
            what=f"{wrong.id} is one test of {wrong.parameter} in {wrong.tank}",
            where=CORRECT,
            expected="one value of the same parameter and tank",
            do=f"To take it out, use {STRIKE}; nothing was written.",
        )
    ]


def _strike(shell: Shell, wanted: str, asked: Asked) -> Answer:
    who, why = asked["by"] or local_user(), typed_text(asked["why"], "--why")
    settled(missing_why(STRIKE, why))
    with opened(shell.state) as found:
        strikable(found.ledger, wanted)

    def decide(_state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        return [MeasurementStruck(**stamp, measurement=wanted, by=who, why=why)]

    write(shell.state, decide)
    return Answer(
        fields={"struck": {"id": wanted, "why": why, "by": who}},
        text=struck_words(wanted, why),
    )


def _standard(shell: Shell, standard: str, asked: Asked) -> Answer:
    about = _about(asked)
    trial = Trial(standard=standard, found=asked["found"])

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        return [standard_of(trial, about, _zone(shell, state, asked["tank"]), stamp)]

    _state, written = write(shell.state, decide)
    check = only(written, StandardChecked)
    return Answer(
        fields={"standard": standard_document(check)},
        text=f"{bias_words(check)}\nRecorded as {check.id}.",
    )


def _zone(shell: Shell, state: State, named: str | None) -> str:
    """A kit is of no tank: where none is at hand, its times are UTC."""
    try:
        return subject_of(shell, state, named).zone
    except InputError:
        if named is not None:
            raise
        return UTC_ZONE


def _recorded(kept: Sequence[MeasurementKept], told: _Told, state: State) -> Answer:
    high = list(high_lines(kept, told.subject, state))
    first = kept[0]
    again = replicate_words(kept, told.earlier)
    rows = [
        (*row[:-1], again.get(one.id, row[-1]))
        for one, was in zip(kept, told.known, strict=True)
        for row in (words_of(one, was),)
    ]
    heads = ("parameter", ">level", "id", "instead of" if first.supersedes else "known")
    return Answer(
        fields={
            "measurements": [
                {
                    **document_of(one),
                    "before": None if was is None else document_of(was),
                }
                for one, was in zip(kept, told.known, strict=True)
            ],
            "above_ceiling": bool(high),
        },
        text=f"Recorded for {first.tank}, {local(first.taken_at, told.subject.zone)}:\n"
        + "\n".join(
            (
                table(heads, rows),
                *mean_lines(kept, told.earlier),
                *form_lines(kept, told.known),
                *high,
            )
        ),
    )


def _tests(written: Sequence[AnyEvent]) -> list[MeasurementKept]:
    return [event for event in written if isinstance(event, MeasurementKept)]


def _takes_a_reason(asked: Asked) -> bool:
    """Whether --why has a place: a strike has one, a correction its note."""
    corrects = asked["correct"] is not None and not asked["note"]
    return corrects or asked["strike"] is not None


def _unclear(values: Sequence[str], asked: Asked) -> Iterator[Finding]:
    """Findings when it is not clear which of its four things the verb shall do."""
    given = [
        name
        for name, value in (
            ("values", values or None),
            (STRIKE, asked["strike"]),
            ("--standard", asked["standard"]),
        )
        if value is not None
    ]
    if len(given) != 1:
        yield Finding(
            what=f"given: {', '.join(given)}" if given else "nothing is to be recorded",
            where="record",
            expected=f"either values, or {STRIKE}, or --standard",
            do='Write values like alkalinity="8.1 dKH"; see --help.',
        )
    loose = {
        CORRECT: (asked["correct"], bool(values)),
        "--why": (asked["why"] or None, _takes_a_reason(asked)),
        "--found": (asked["found"], asked["standard"] is not None),
    }
    for option, (value, fits) in loose.items():
        if value is not None and not fits and len(given) == 1:
            yield Finding(
                what=f"{option} has no meaning here",
                where="record",
                expected=f"{option} beside what it belongs to",
                do="Take it out; see `slackwater record --help`.",
            )
