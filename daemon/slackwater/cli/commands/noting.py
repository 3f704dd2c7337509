"""`sample` and `event`: water into a bottle, and what happened in the tank.

Floor 8. One subject: moments worth remembering. Laws here: a sample keeps what the tank
was like when it was taken, so that a report that comes weeks later is read beside it;
nothing written here raises a dose or lifts a ceiling. An event says that readings may
step for a reason, so that the step is not taken for a swing; a treatment keeps back
corrections, carbon and traces until it ends.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from secrets import choice
from typing import TypedDict, Unpack, get_args

import click

from slackwater.cli.document import Answer
from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.opening import approval_at, local_user, only, opened, write
from slackwater.cli.render import local, table
from slackwater.cli.shell import Shell, verb
from slackwater.cli.spans import typed_end
from slackwater.cli.subject import Known, Subject, known_levels_by, subject_of
from slackwater.cli.typed import WORD_AT_MOST, new_id, typed_text
from slackwater.cli.typed_levels import settled
from slackwater.cli.undosed import NOTHING, dosed, said_before
from slackwater.errors import Finding
from slackwater.facts.events import AnyEvent
from slackwater.facts.state import State
from slackwater.facts.waters import HusbandryNoted, SampleTaken, What
from slackwater.ledger.by_time import told
from slackwater.ledger.codec import timestamp
from slackwater.planning.daily import day_totals
from slackwater.planning.timetable import Timetable
from slackwater.planning.wall import zone_named
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_level, show_volume

# Without letters and figures that look alike on a wet label.
LETTERS = "2345679ACDEFHJKMNPRTUVWXY"
LENGTH = 5
LAB = "lab"
# No medicine works for longer without anybody asking again.
TREATED_AT_MOST = timedelta(days=60)

KINDS: Mapping[str, str] = {
    "corals_added": "corals or other animals that take up came in",
    "harvest": "corals were cut or taken out",
    "treatment": "a medicine or dip went into the water",
    "light": "the light was changed",
    "salt_lot": "a new lot of salt is in use",
    "probe_serviced": "a probe was cleaned or calibrated",
    NOTHING: "from then until the ledger was made nothing was dosed, by whatever",
    "other": "anything else; say what in --note",
}


class Asked(TypedDict):
    """What is said with a sample or an event."""

    tank: str | None
    at: str | None
    note: str
    by: str | None


class AskedOfEvent(Asked):
    """The same of an event."""

    confirm: bool


@dataclass(slots=True)
class _Frozen:
    """What the tank was like when the water was taken."""

    subject: Subject = field(default_factory=lambda: Subject(tank=""))
    levels: Mapping[str, Known] = field(default_factory=dict)


_TANK = click.option(
    "--tank", metavar="ID", help="Which tank.  [default: the only one]"
)
_AT = click.option(
    "--at",
    metavar="TIME",
    help='When, like "2026-05-03 09:30" on the tank\'s own clock, or with an offset.  '
    "[default: now]",
)
_NOTE = click.option("--note", default="", metavar="TEXT", help="For the record.")
_BY = click.option(
    "--by", metavar="NAME", help="Who says so.  [default: the local user]"
)


@verb(
    "sample",
    epilog="Write the id on the bottle and on the laboratory's form. Example: "
    "slackwater sample --note 'before the water change'",
)
@_TANK
@_AT
@_NOTE
@_BY
def sample(shell: Shell, **asked: Unpack[Asked]) -> Answer:
    """Give a bottle for a laboratory its id.

    Keeps the levels that are known and what the plan doses, so that a report is read
    beside the tank as it was. `slackwater import` finds the sample by its id.
    """
    who = typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)
    note = typed_text(asked["note"], "--note")
    with opened(shell.state) as found:
        used = {one.sample for one in told(found.ledger, SampleTaken)}
    name, frozen = _free_name(used), _Frozen()

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        subject = subject_of(shell, state, asked["tank"])
        at = typed_moment(asked["at"], Wall(zone=subject.zone, now=stamp["at"]))
        frozen.subject, frozen.levels = (
            subject,
            known_levels_by(shell, state, subject.tank, at),
        )
        return [
            SampleTaken(
                **stamp,
                sample=name,
                tank=subject.tank,
                taken_at=at,
                by=who,
                note=note,
                levels={key: one.level for key, one in frozen.levels.items()},
                per_day_ul=_per_day_ul(state, subject, at),
            )
        ]

    _state, written = write(shell.state, decide)
    taken = only(written, SampleTaken)
    return Answer(fields={"sample": _document(taken)}, text=_words(taken, frozen))


def _free_name(used: set[str]) -> str:
    name = ""
    while not name or name in used:
        name = "S-" + "".join(choice(LETTERS) for _ in range(LENGTH))
    return name


def _per_day_ul(state: State, subject: Subject, at: datetime) -> dict[str, int]:
    """What the plan in force doses on the sample's day, by pump."""
    approved = approval_at(state, at)
    if approved is None or subject.tank not in approved.machine.tanks:
        return {}
    day = at.astimezone(zone_named(subject.zone)).date()
    timetable = Timetable(approved.plan, approved.machine)
    totals = day_totals(timetable, subject.tank, day)
    return dict(sorted(totals.volumes_ul.items()))


def _words(taken: SampleTaken, frozen: _Frozen) -> str:
    zone = frozen.subject.zone
    lines = [
        f"Sample {taken.sample} of {taken.tank}, {local(taken.taken_at, zone)}.",
        "Write this id on the bottle and on the laboratory's form.",
    ]
    if frozen.levels:
        lines += ["", "Known by then, and kept with it:", *_known(frozen, zone)]
    doses = ", ".join(f"{p} {show_volume(ul)}" for p, ul in taken.per_day_ul.items())
    if doses:
        lines += ["", f"The plan doses that day: {doses}."]
    return "\n".join(lines)


def _known(frozen: _Frozen, zone: str) -> Iterator[str]:
    """Own tests and probes one by one; what a laboratory saw before by its number."""
    own = {name: one for name, one in frozen.levels.items() if one.source != LAB}
    if own:
        rows = [
            (
                name,
                f"{'<' if one.censored else ''}{show_level(name, one.level)}",
                local(one.at, zone),
                one.source,
            )
            for name, one in own.items()
        ]
        yield table(("parameter", ">level", "of", "from"), rows)
    others = len(frozen.levels) - len(own)
    if others:
        yield f"{others} of laboratories; see `slackwater history PARAMETER`."


def _document(taken: SampleTaken) -> dict[str, object]:
    return {
        "id": taken.sample,
        "tank": taken.tank,
        "taken_at": timestamp(taken.taken_at),
        "by": taken.by,
        "note": taken.note,
        "levels": {name: str(level) for name, level in taken.levels.items()},
        "per_day_ul": dict(taken.per_day_ul),
    }


@verb(
    "event",
    epilog="Kinds: "
    + "; ".join(f"{name}: {meaning}" for name, meaning in KINDS.items())
    + ". Example: slackwater event corals_added --note 'six pieces'",
)
@click.argument("kind", metavar="KIND", type=click.Choice(list(get_args(What))))
@click.option(
    "--until",
    metavar="DATE",
    help="When a treatment ends, at most 60 days ahead: until then no corrections, "
    "carbon or traces.",
)
@click.option(
    "--confirm",
    is_flag=True,
    help="Nothing was dosed but what is on record of that time.",
)
@_TANK
@_AT
@_NOTE
@_BY
def event(
    shell: Shell, kind: What, until: str | None, **asked: Unpack[AskedOfEvent]
) -> Answer:
    """Note what explains the water later on.

    An assessment reads it beside the tests: more animals take up more, a new lot of
    salt brings other water. Readings that step with it are not taken for a swing; the
    ceiling counts all the same. nothing_dosed of a time of which additions were told
    needs --confirm.
    """
    settled(_unclear(kind, until, asked))
    who = typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)
    note = typed_text(asked["note"], "--note")
    zones: list[str] = []
    is_asked = kind == NOTHING and not asked["confirm"]
    before = said_before(shell.state) if is_asked else None

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        subject = subject_of(shell, state, asked["tank"])
        at = typed_moment(asked["at"], Wall(zone=subject.zone, now=stamp["at"]))
        zones[:] = [subject.zone]
        if before is not None:
            settled(dosed(before, subject.tank, at))
        wall = Wall(
            zone=subject.zone, now=stamp["at"], option="--until", ahead=TREATED_AT_MOST
        )
        return [
            HusbandryNoted(
                **stamp,
                id=new_id("h"),
                tank=subject.tank,
                what=kind,
                happened_at=at,
                by=who,
                note=note,
                until=None if until is None else typed_end(until, wall),
            )
        ]

    _state, written = write(shell.state, decide)
    noted = only(written, HusbandryNoted)
    return Answer(
        fields={
            "event": {
                "id": noted.id,
                "tank": noted.tank,
                "kind": noted.what,
                "happened_at": timestamp(noted.happened_at),
                "by": noted.by,
                "note": noted.note,
                "until": None if noted.until is None else timestamp(noted.until),
            }
        },
        text=f"Noted for {noted.tank}, {local(noted.happened_at, zones[0])}: "
        f"{kind}, {KINDS[kind]}.{_lasting(noted, zones[0])}",
    )


def _lasting(noted: HusbandryNoted, zone: str) -> str:
    if noted.until is None:
        return ""
    return (
        f" Until {local(noted.until, zone)} nothing is corrected, and neither carbon "
        "nor traces are dosed."
    )


def _unclear(kind: What, until: str | None, asked: AskedOfEvent) -> Iterator[Finding]:
    if until is not None and kind != "treatment":
        yield _no_end(kind)
    if kind == "other" and not asked["note"].strip():
        yield _says_nothing()
    if asked["confirm"] and kind != NOTHING:
        yield _unconfirmed(kind)


def _unconfirmed(kind: What) -> Finding:
    return Finding(
        what=f"there is nothing to confirm of {kind}",
        where="--confirm",
        expected=f"it beside the kind {NOTHING} alone",
        do="Leave it out; nothing was written.",
    )


def _says_nothing() -> Finding:
    return Finding(
        what="other says nothing by itself",
        where="--note",
        expected="a few words for the record",
        do="Say what happened, as in --note 'new return pump'; nothing was written.",
    )


def _no_end(kind: What) -> Finding:
    return Finding(
        what=f"an end is given for {kind}",
        where="--until",
        expected="an end for the kind treatment alone",
        do="Leave it out; nothing was written.",
    )
