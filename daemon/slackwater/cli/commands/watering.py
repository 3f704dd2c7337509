"""`water-change`: new water for old, done or announced.

Floor 8. One subject: water changes. Laws here: what the change will do to each level is
said beforehand, from the newest tests of both waters; only what is known is predicted;
a change lies at most two weeks ahead and never exceeds the water there is; one of more
than half of it is asked about, because a slip of the hand looks like it.
Units: levels canonical.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TypedDict, Unpack

import click

from slackwater.cli.change_text import Foretold, change_lines
from slackwater.cli.correcting import CORRECT, named, refuse_replaced
from slackwater.cli.document import Answer
from slackwater.cli.moments import Wall, typed_moment
from slackwater.cli.opening import local_user, only, opened, write
from slackwater.cli.shell import Shell, verb
from slackwater.cli.subject import Known, Subject, known_levels_by, subject_of
from slackwater.cli.told_again import changed_again
from slackwater.cli.typed import WORD_AT_MOST, new_id, typed_name, typed_text, typed_ul
from slackwater.cli.typed_levels import settled, twice, typed_levels
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import AnyEvent
from slackwater.facts.state import State
from slackwater.facts.tank import Tank
from slackwater.facts.waters import WaterChanged
from slackwater.ledger.by_time import told
from slackwater.ledger.codec import timestamp
from slackwater.ledger.history import AHEAD_AT_MOST
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_volume
from slackwater.water.water_changes import step_of_change

CHANGE, CANCEL, NEW = "water-change", "--cancel", "--new"
# A larger part at once is an emergency or a slip: common practice, no source.
UNASKED_PARTS = 2


class Asked(TypedDict):
    """What is said with the change."""

    tank: str | None
    at: str | None
    new: tuple[str, ...]
    batch: str | None
    correct: str | None
    cancel: str | None
    confirm: bool
    note: str
    by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Earlier:
    """What the ledger says of changes: the one that is corrected, and the batch."""

    wrong: WaterChanged | None = None
    levels: Mapping[str, float] = field(default_factory=dict)


@verb(
    CHANGE,
    epilog='Examples: slackwater water-change 40 L --new alkalinity="8.0 dKH" --new '
    'calcium="430 mg/L" --batch may-2; slackwater water-change 40 L --batch may-2 --at '
    '"2026-05-03 18:00"; slackwater water-change --cancel w-1f0c9a77e2. Before a large '
    "change bring temperature and salinity of the new water to those of the tank.",
)
@click.argument("volume", metavar="[VOLUME]", nargs=-1)
@click.option("--tank", metavar="ID", help="Which tank.  [default: the only one]")
@click.option(
    NEW,
    multiple=True,
    metavar="NAME=VALUE",
    help="What a test of the new water showed; may be repeated.",
)
@click.option("--batch", metavar="ID", help="The new water's own name; tests stay.")
@click.option(
    "--at",
    metavar="TIME",
    help='When, like "2026-05-03 18:00"; it may lie up to 14 days ahead, and is then '
    "announced.  [default: now]",
)
@click.option(CORRECT, metavar="ID", help="It takes the place of this entry.")
@click.option(CANCEL, metavar="ID", help="This change is not made.")
@click.option(
    "--confirm",
    is_flag=True,
    help="It is right although it is over half of the water, or looks told twice.",
)
@click.option("--note", default="", metavar="TEXT", help="For the record.")
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
def water_change(
    shell: Shell, volume: tuple[str, ...], **asked: Unpack[Asked]
) -> Answer:
    """Write down new water for old, or announce it.

    Says how far each level will move, from the tests of both waters. A climb of
    alkalinity that a change explains holds no doses within 24 hours of it, so tell the
    daemon before you pour; a level above the ceiling stops all the same. More than half
    of the water needs --confirm, and so does the same volume again within 10 minutes.
    """
    settled(_unclear(volume, asked))
    who = typed_text(asked["by"] or local_user(), "--by", WORD_AT_MOST)
    note = typed_text(asked["note"], "--note")
    batch = typed_name(asked["batch"], "--batch")
    with opened(shell.state) as found:
        changes = list(told(found.ledger, WaterChanged))
    if asked["cancel"] is not None:
        return _cancel(shell, _standing(changes, asked["cancel"], CANCEL), who, note)
    earlier = _earlier(changes, asked["correct"], batch)
    seen = list[Foretold]()

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        wrong = earlier.wrong
        owner = wrong.tank if wrong else None
        subject = subject_of(shell, state, asked["tank"] or owner)
        at = _at(asked["at"], wrong, subject, stamp)
        until = min(at, stamp["at"])
        # A test of afterwards has the change in it already.
        tested = known_levels_by(shell, state, subject.tank, until)
        known = _moved(state, tested, until, wrong, subject.tank)
        seen[:] = [Foretold(subject=subject, known=known, now=stamp["at"])]
        typed = typed_levels(asked["new"], NEW, confirmed=None)
        settled(twice(typed, NEW))
        levels = {**earlier.levels, **{one.parameter: one.level for one in typed}}
        _machine, tank = subject.described
        volume_ul = _volume_ul(volume, tank)
        if not asked["confirm"]:
            settled(_large(volume_ul, tank))
        steps = _steps(known, levels, volume_ul / tank.net_ul)
        change = WaterChanged(
            **stamp,
            id=new_id("w"),
            tank=subject.tank,
            changed_at=at,
            volume_ul=volume_ul,
            by=who,
            batch=batch or (wrong.batch if wrong else ""),
            levels=levels,
            steps=steps,
            note=note,
            supersedes=wrong.id if wrong else "",
        )
        if not asked["confirm"] and wrong is None:
            settled(changed_again(change, state.changes.values()))
        return [change]

    _state, written = write(shell.state, decide)
    return _answer(only(written, WaterChanged), seen[0])


def _at(
    text: str | None, wrong: WaterChanged | None, subject: Subject, stamp: Stamp
) -> datetime:
    if text is None and wrong is not None:
        return wrong.changed_at
    wall = Wall(zone=subject.zone, now=stamp["at"], ahead=AHEAD_AT_MOST)
    return typed_moment(text, wall)


def _volume_ul(words: Sequence[str], tank: Tank) -> int:
    volume_ul = typed_ul(" ".join(words), CHANGE)
    if 0 < volume_ul <= tank.net_ul:
        return volume_ul
    raise InputError(
        Finding(
            what=f"{show_volume(volume_ul)} cannot be changed in {tank.id}",
            where=CHANGE,
            expected=f"more than nothing, at most its net {show_volume(tank.net_ul)}",
            do="Check the figure and its unit; nothing was written.",
        )
    )


def _large(volume_ul: int, tank: Tank) -> Iterator[Finding]:
    """A finding for so large a part of the water that it is asked about."""
    if volume_ul * UNASKED_PARTS > tank.net_ul:
        yield Finding(
            what=f"{show_volume(volume_ul)} of {show_volume(tank.net_ul)} is more than "
            f"half of the water in {tank.id}",
            where=CHANGE,
            expected=f"at most {show_volume(tank.net_ul // UNASKED_PARTS)} at once",
            do="Check the figure and its unit. If it is right, add --confirm; nothing "
            "was written.",
        )


def _moved(
    state: State,
    levels: Mapping[str, Known],
    until: datetime,
    wrong: WaterChanged | None,
    tank: str,
) -> dict[str, Known]:
    """Levels with what changes since their tests are foretold to have done by then.

    The change that is corrected has not been made as it stands.
    """
    made = [
        change
        for change in state.changes.values()
        if change.tank == tank and change.changed_at <= until and change != wrong
    ]
    return {
        name: replace(
            one,
            level=one.level
            + sum(
                change.steps.get(name, 0.0)
                for change in made
                if change.changed_at > one.at
            ),
        )
        for name, one in levels.items()
    }


def _steps(
    known: Mapping[str, Known], levels: Mapping[str, float], share: float
) -> dict[str, float]:
    """How far the change moves each level that is known in both waters."""
    return {
        name: step_of_change(one.level, levels[name], share)
        for name, one in known.items()
        if name in levels
    }


def _earlier(
    changes: Sequence[WaterChanged], wanted: str | None, batch: str
) -> _Earlier:
    """What is wrong, and the newest tests of the same batch."""
    wrong = None if wanted is None else _standing(changes, wanted, CORRECT)
    wanted_batch = batch or (wrong.batch if wrong else "")
    levels: dict[str, float] = dict(wrong.levels) if wrong and not batch else {}
    for change in changes:
        if wanted_batch and change.batch == wanted_batch:
            levels.update(change.levels)
    return _Earlier(wrong=wrong, levels=levels)


def _standing(
    changes: Sequence[WaterChanged], wanted: str, option: str
) -> WaterChanged:
    # An entry that called one off is no change, and its id is printed nowhere.
    found = named((one for one in changes if one.volume_ul), wanted, option)
    if any(one.supersedes == wanted and not one.volume_ul for one in changes):
        raise RefusedError(_called_off(wanted, option))
    refuse_replaced(changes, wanted, option)
    return found


def _called_off(wanted: str, option: str) -> Finding:
    return Finding(
        what=f"{wanted} was called off",
        where=option,
        expected="a change that still stands",
        do="Where it is made after all, write it down anew; nothing was written.",
    )


def _cancel(shell: Shell, wrong: WaterChanged, who: str, note: str) -> Answer:
    def decide(_state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        return [
            WaterChanged(
                **stamp,
                id=new_id("w"),
                tank=wrong.tank,
                changed_at=wrong.changed_at,
                volume_ul=0,
                by=who,
                note=note,
                supersedes=wrong.id,
            )
        ]

    write(shell.state, decide)
    return Answer(
        fields={"cancelled": wrong.id},
        text=f"Called off: {wrong.id}. It explains no climb any more.",
    )


def _answer(change: WaterChanged, told: Foretold) -> Answer:
    _machine, tank = told.subject.described
    return Answer(
        fields={
            "water_change": {
                "id": change.id,
                "tank": change.tank,
                "changed_at": timestamp(change.changed_at),
                "announced": change.changed_at > told.now,
                "volume_ul": change.volume_ul,
                "share": str(round(change.volume_ul / tank.net_ul, 6)),
                "batch": change.batch,
                "levels": {name: str(one) for name, one in change.levels.items()},
                "steps": {name: str(one) for name, one in change.steps.items()},
                "by": change.by,
                "note": change.note,
                "supersedes": change.supersedes,
            }
        },
        text="\n".join(change_lines(change, told)),
    )


def _unclear(volume: Sequence[str], asked: Asked) -> Iterator[Finding]:
    cancelling = asked["cancel"] is not None
    if cancelling == bool(volume):
        yield Finding(
            what="a volume and --cancel are both given"
            if volume
            else "no volume is given",
            where=CHANGE,
            expected=f"how much water, or {CANCEL} alone",
            do="As in `slackwater water-change 40 L`; nothing was written.",
        )
        return
    others = ("at", "correct", "new", "batch", "tank", "confirm")
    if cancelling and any(asked[name] for name in others):  # type: ignore[literal-required]  # names of its own
        yield Finding(
            what="--cancel is given with something else",
            where=CHANGE,
            expected=f"{CANCEL} with --note or --by at most",
            do="Take the rest out; nothing was written.",
        )
