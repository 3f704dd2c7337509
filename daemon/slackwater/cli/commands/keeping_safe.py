"""`backup` and `restore`: the ledger kept elsewhere, and put back.

Floor 8. One subject: copies for the day the disk dies. Laws here: a backup has its name
only once it was read back whole; a restore takes the place of no ledger and of no
running daemon, and leaves everything held; nothing is half applied.
"""

from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Unpack

import click

from slackwater import __version__
from slackwater.cli.commands.beginning import (
    Dosed,
    asked,
    first_entry,
    given,
    make_directory,
    refuse_standing,
)
from slackwater.cli.document import Answer
from slackwater.cli.opening import local_user, newest_approval
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.cli.unknown_time import Told, entries_after
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import AnyEvent, DoseMissed, LedgerMade, SpanMissed
from slackwater.facts.now import proven_ms
from slackwater.facts.state import State
from slackwater.ledger import archive, birth, witness
from slackwater.ledger.archive import FILES, LEDGER, Manifest
from slackwater.ledger.codec import timestamp
from slackwater.ledger.copying import copy_live
from slackwater.ledger.store import LedgerFile
from slackwater.outside.clock import SystemClock
from slackwater.outside.settings import read_machine
from slackwater.service.memory import LIVE_NAME, read_state
from slackwater.service.standing import LOCK_NAME, only_one

_NEXT = """\
Everything is held. Whatever was approved, held or calibrated since is unknown:
  1. look at `{program} approvals` and `{program} status`
  2. test the water
  3. start the daemon: it compares what the pump nodes counted
  4. end the hold with `{program} release ledger-restored`"""
# An older backup that was put back first, or a ledger made afresh in a hurry.
_ASIDE = (
    "Use the ledger that is there, unless the backup knows more than it. Then stop the "
    "daemon, move {path} out of this directory (do not delete it), with the file "
    "beside it whose name ends in -journal if there is one, and restore again. What "
    "only the ledger you move knows is unknown from then on: say what was dosed since "
    "the backup. Nothing was changed."
)


@verb(
    "backup",
    epilog="It may run beside the daemon. Keep it on another disk or machine. "
    "Example: slackwater backup /mnt/stick",
)
@click.argument("place", type=click.Path(path_type=Path), metavar="FILE|DIR")
def backup(shell: Shell, place: Path) -> Answer:
    """Copy the ledger into one file.

    The approved files go with it. In a directory that is there the file gets the time
    as its name; a FILE has a suffix, like reef.tar.
    What was written is read back and verified before it has that name.
    """
    made_at = SystemClock().now().utc
    name = f"slackwater-{made_at:%Y%m%dT%H%M%SZ}.tar"
    target = place / name if place.is_dir() else place
    archive.refuse_standing(target)
    _refuse_unclear(target)
    with archive.workshop(target.parent) as folder:
        with LedgerFile.open(shell.state / LIVE_NAME, writable=False) as source:
            left_out = _copy_files(source, shell.config, folder)
            copy_live(source, folder / LEDGER)
            manifest = _manifest(source, folder, made_at)
        archive.pack(target, folder, manifest)
    return Answer(
        fields={
            "backup": str(target),
            "ledger_id": manifest.ledger_id,
            "entries": manifest.entries,
            "sha256": manifest.head,
            "files": sorted(manifest.members),
            "left_out": left_out,
        },
        text=_backed_up(target, manifest, left_out),
    )


@verb(
    "restore",
    epilog="Doses stay held until you release them. "
    "Example: slackwater restore /mnt/stick/slackwater-20260503T040000Z.tar",
)
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option(
    "--dosed",
    multiple=True,
    metavar="PUMP=VOLUME",
    help="What a pump gave since the backup, 24 h at most; once for each pump.",
)
@click.option("--dosed-nothing", is_flag=True, help="No pump gave anything since.")
@click.option(
    "--unanswered",
    is_flag=True,
    help="Nobody knows: the daily caps stay used up for 24 h.",
)
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
def restore(shell: Shell, file: Path, **dosed: Unpack[Dosed]) -> Answer:
    """Put a lost ledger back.

    FILE is what `slackwater backup` wrote; a ledger that is there is never touched.
    Everything is held until a person releases it; meanwhile the daemon compares the
    ledger with what the pump nodes counted.
    """
    by = typed_text(dosed["by"] or local_user(), "--by", WORD_AT_MOST)
    path = shell.state / LIVE_NAME
    refuse_standing(path, _ASIDE.format(path=path))
    birth.refuse_leftovers(path)
    made = make_directory(shell.state)
    try:
        with only_one(shell.state), archive.workshop(shell.state) as folder:
            manifest = archive.unpack(file, folder)
            lost = witness.read(witness.path_for(path, None))
            told = _told(shell, folder, manifest, (lost, dosed, by))
            events = _go_on(folder, told)
            _put_in_place(folder / LEDGER, path)
    except BaseException:
        if made:
            _take_back(shell.state)
        raise
    return _restored(path, told, events, shell.program)


def _refuse_unclear(target: Path) -> None:
    """Refuse what looks like a directory and is none: a slip makes no file."""
    if not target.suffix:
        raise InputError(
            Finding(
                what="no directory stands here, and as a file it has no suffix",
                where=str(target),
                expected="a directory that is there, or a file like reef.tar",
                do="Check the spelling, or mount or make the directory first; nothing "
                "was written.",
            )
        )


def _copy_files(source: LedgerFile, config: Path, folder: Path) -> list[str]:
    """Copy the files that are as approved; gives the names of the others."""
    approval = next(reversed(read_state(source).approvals), None)
    approved = {} if approval is None else approval.files
    left_out = []
    for name in FILES:
        copy = folder / name
        with suppress(OSError):
            copy.write_bytes((config / name).read_bytes())
        if copy.exists() and archive.member_of(copy).sha256 == approved.get(name):
            continue
        copy.unlink(missing_ok=True)
        left_out.append(name)
    return left_out


def _manifest(source: LedgerFile, folder: Path, made_at: datetime) -> Manifest:
    names = [name for name in (LEDGER, *FILES) if (folder / name).exists()]
    return Manifest(
        v=archive.VERSION,
        ledger_id=source.ledger_id,
        entries=source.head.seq,
        head=source.head.sha256,
        made_at=timestamp(made_at),
        software=__version__,
        members={name: archive.member_of(folder / name) for name in names},
    )


def _backed_up(target: Path, manifest: Manifest, left_out: list[str]) -> str:
    files = ", ".join(name for name in FILES if name not in left_out)
    lines = [
        f"Wrote {target}.",
        f"{manifest.entries} entries, an unbroken chain, read back and verified.",
        f"With the approved files: {files}." if files else "",
        f"Left out, for it is not as approved or not there: {', '.join(left_out)}."
        if left_out
        else "",
    ]
    return "\n".join(line for line in lines if line)


def _take_back(state: Path) -> None:
    with suppress(OSError):
        (state / LOCK_NAME).unlink(missing_ok=True)
        state.rmdir()


def _told(
    shell: Shell,
    folder: Path,
    manifest: Manifest,
    known: tuple[witness.Witness | None, Dosed, str],
) -> Told:
    """What a person says of the time since, and how far the lost ledger had come."""
    lost, dosed, by = known
    with LedgerFile.open(folder / LEDGER, footing=archive.aside(folder)) as ledger:
        approved = newest_approval(read_state(ledger))
    machine = read_machine(shell.config) if approved is None else approved.machine
    lately = given(machine, dosed) or asked(machine)
    answer: LedgerMade = first_entry(machine, lately, by)
    is_same = lost is not None and lost.ledger_id == manifest.ledger_id
    return Told(
        made_at=datetime.fromisoformat(manifest.made_at),
        entries=manifest.entries,
        newest_known=lost.head.seq if lost is not None and is_same else 0,
        boot_id=answer.boot_id,
        answered=answer.answered,
        dosed_ul=answer.dosed_ul,
        effects=answer.effects,
        by=by,
    )


def _go_on(folder: Path, told: Told) -> list[AnyEvent]:
    """Append to the copy what its ledger goes on with."""
    with LedgerFile.open(folder / LEDGER, footing=archive.aside(folder)) as ledger:
        state, now = read_state(ledger), SystemClock().now()
        _refuse_early(state, now.utc)
        mark = state.mark
        events = entries_after(
            state,
            told,
            {
                "at": now.utc,
                "boot_s": now.boot_s,
                "proven_ms": 0 if mark is None else proven_ms(mark, now),
            },
        )
        ledger.append(events)
    return events


def _put_in_place(copy: Path, path: Path) -> None:
    # The witness first: between the two there is no ledger at all, and a witness
    # that is ahead of its ledger would refuse the very one that was restored.
    known = witness.read(copy.with_name("witness"))
    if known is not None:
        witness.replace(witness.path_for(path, None), known)
    birth.place(copy, path)


def _refuse_early(state: State, utc: datetime) -> None:
    newest = state.newest_at
    if newest is not None and utc < newest:
        raise RefusedError(
            Finding(
                what=f"the clock says {utc:%Y-%m-%dT%H:%M:%SZ}",
                where="clock",
                expected=f"not before the backup's newest entry, "
                f"{newest:%Y-%m-%dT%H:%M:%SZ}",
                do="Set the clock of this machine first. Nothing was changed.",
            )
        )


def _restored(path: Path, told: Told, events: list[AnyEvent], program: str) -> Answer:
    lost = max(told.newest_known - told.entries, 0)
    doses = sum(isinstance(event, DoseMissed) for event in events)
    doses += sum(event.doses for event in events if isinstance(event, SpanMissed))
    lines = [
        f"Restored {path} as it was on {told.made_at:%Y-%m-%d at %H:%M} UTC.",
        f"At least {lost} entries after it are lost." if lost else "",
        f"{doses} doses were due since; none of them is given again." if doses else "",
        ""
        if told.answered
        else "Nobody said what was dosed since: the daily caps stay used up for 24 "
        "hours, and nothing is dosed by plan.",
        _NEXT.format(program=program),
    ]
    return Answer(
        fields={
            "ledger": str(path),
            "made_at": timestamp(told.made_at),
            "entries": told.entries,
            "lost_entries": lost,
            "answered": told.answered,
            "dosed_ul": dict(told.dosed_ul),
            "doses_not_given_again": doses,
            "hold": "ledger-restored",
        },
        text="\n".join(line for line in lines if line),
    )
