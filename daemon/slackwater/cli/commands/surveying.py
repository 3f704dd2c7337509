"""`overview`: many tanks on one page.

Floor 8. One subject: tanks of several daemons. Laws here: it reads what daemons publish
or what their ledgers hold, and writes and sends nothing; a place that cannot be read,
or has no plan, is named, and never looks like a tank that is well.
"""

import json
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypedDict, Unpack

import click

from slackwater.cli.cut_off import cut_off
from slackwater.cli.document import FINE, REFUSED, Answer
from slackwater.cli.leaf import Leaf, Part, leaf_text
from slackwater.cli.moments import Wall
from slackwater.cli.opening import daemon_is_here, opened
from slackwater.cli.panorama_rows import (
    Row,
    refills_part,
    row_document,
    row_of,
    sorted_rows,
    tanks_part,
)
from slackwater.cli.shell import Shell, verb
from slackwater.cli.spans import typed_end
from slackwater.cli.typed import host_and_port, kept_text
from slackwater.errors import Finding, InputError, RefusedError, SlackwaterError
from slackwater.facts.sight import Sight, recall, remember
from slackwater.ledger.codec import timestamp
from slackwater.outside.clock import SystemClock
from slackwater.outside.glimpse import read_glimpse
from slackwater.outside.panorama import Seen, Vantage, look_around
from slackwater.outside.wire import TankDocument
from slackwater.service.tank_document import Shown, tank_document
from slackwater.service.wiring import setup_from
from slackwater.turn.step import moment_at

USUAL_VISIT = timedelta(days=7)
VISIT_AT_MOST = timedelta(days=365)
_PORT = 1883
_PASSWORD_AT_MOST = 1024


class Asked(TypedDict):
    """Where to look, and for when."""

    broker: str | None
    prefix: str
    user: str
    password_file: Path | None
    ca_file: Path | None
    visit: str | None


@verb(
    "overview",
    epilog="Examples: slackwater overview /srv/tanks/*; slackwater overview --broker "
    "192.0.2.7:1883 --user slackwater-home --password-file home.password --visit "
    "2026-05-11",
)
@click.argument(
    "directories", nargs=-1, metavar="[DIR]...", type=click.Path(path_type=Path)
)
@click.option(
    "--broker", metavar="HOST:PORT", help="Read what daemons publish on this broker."
)
@click.option(
    "--prefix", default="slackwater/1", show_default=True, help="Begin of every topic."
)
@click.option("--user", default="", help="User name at the broker.")
@click.option(
    "--password-file",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="File with that user's password.",
)
@click.option(
    "--ca-file",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Certificates to trust; turns TLS on.",
)
@click.option(
    "--visit",
    metavar="DATE",
    help="When somebody comes next: what runs out before is listed.  [default: in 7 "
    "days]",
)
def overview(
    shell: Shell, directories: tuple[Path, ...], **asked: Unpack[Asked]
) -> Answer:
    """Show many tanks on one page.

    The least time to the floor first. Reads the state directories that are named, or
    the states that daemons publish on a broker; the directory of --state where nothing
    is named. Exit code 1 when a place could not be read or has no approved plan, or a
    daemon is gone.
    """
    now = SystemClock().now().utc
    visit = _visit(asked["visit"], now)
    rows: list[Row] = []
    trouble: list[Finding] = []
    if asked["broker"] is not None:
        seen = look_around(_vantage(asked["broker"], asked))
        rows += _published(seen, (now, visit))
        trouble += _unread(seen)
    places = directories or (() if asked["broker"] else (shell.state,))
    for place in places:
        try:
            rows += _kept(place, (now, visit), alone=len(places) == 1)
        except RefusedError as error:
            trouble += error.findings
        except (SlackwaterError, OSError) as error:
            trouble.append(_unreadable(place, error))
    return _answer(sorted_rows(rows), trouble, (now, visit))


def _answer(
    rows: Sequence[Row], trouble: Sequence[Finding], times: tuple[datetime, datetime]
) -> Answer:
    now, visit = times
    # A day that was named ends with its midnight.
    until = f"{visit - timedelta(seconds=1):%Y-%m-%d} UTC"
    leaf = Leaf(
        title=f"{len(rows)} tank{'' if len(rows) == 1 else 's'}, "
        f"{now:%Y-%m-%d %H:%M} UTC",
        parts=(
            tanks_part(rows),
            refills_part(rows, until),
            Part(
                heading="Not shown",
                lines=tuple(f"{one.where}: {one.what}." for one in trouble),
            ),
        ),
    )
    is_wrong = bool(trouble) or any(row.gone for row in rows)
    return Answer(
        fields={
            "at": timestamp(now),
            "visit": timestamp(visit),
            "tanks": [row_document(row) for row in rows],
        },
        text=leaf_text(leaf),
        findings=trouble,
        is_told=True,
        exit_code=REFUSED if is_wrong else FINE,
    )


def _visit(text: str | None, now: datetime) -> datetime:
    if text is None:
        return now + USUAL_VISIT
    return typed_end(
        text, Wall(zone="UTC", now=now, option="--visit", ahead=VISIT_AT_MOST)
    )


def _published(seen: Seen, times: tuple[datetime, datetime]) -> Iterator[Row]:
    for (site, tank), document in sorted(seen.tanks.items()):
        daemon = seen.daemons.get(site)
        gone = daemon is None or daemon.state == "gone"
        yield row_of(f"{site}/{tank}", document, times, gone=gone)


def _unread(seen: Seen) -> Iterator[Finding]:
    for topic, why in sorted(seen.spoilt.items()):
        yield Finding(
            what=f"no state of this version ({why})",
            where=kept_text(topic),
            expected="the state document of a tank or a daemon",
            do="Look at the version of that daemon, and at who may write there.",
        )


def _kept(
    place: Path, times: tuple[datetime, datetime], *, alone: bool
) -> Iterator[Row]:
    """The tanks of one ledger, as its daemon would publish them.

    Raises: RefusedError where no plan says which there are; ledger errors.
    """
    with opened(place) as found:
        if not found.state.approvals:
            raise RefusedError(_no_plan(place))
        setup, state = setup_from(found.state, None), found.state
        sight = Sight(started_boot_s=found.now.boot_s)
        recall(sight, state.courses)
        for series in state.readings.values():
            remember(sight, series)
        moment = moment_at(found.now, state, sight, setup)
    here = daemon_is_here(place)
    gone = not (state.running if here is None else here)
    # What it sees of nodes stands in no ledger: it wrote down what it makes of them.
    cut = cut_off(state, read_glimpse(place), found.now.utc, "UTC")
    away = "" if cut is None else cut[1]
    for name, tank in sorted(moment.machine.tanks.items()):
        shown = Shown(moment=moment, setup=setup, tank=tank, unreached=away)
        plain = tank_document(shown)
        document = TankDocument.model_validate_json(json.dumps(plain))
        where = name if alone else f"{kept_text(place.name)}/{name}"
        yield row_of(where, document, times, gone=gone)


def _no_plan(place: Path) -> Finding:
    return Finding(
        what="no plan is approved there",
        where=str(place),
        expected="an approved plan, which says what tanks there are",
        do="Approve one there with `slackwater approve`.",
    )


def _unreadable(place: Path, error: SlackwaterError | OSError) -> Finding:
    if isinstance(error, SlackwaterError):
        what = error.findings[0].what
    else:
        what = f"it cannot be read: {error.strerror}"
    return Finding(
        what=what,
        where=str(place),
        expected="a state directory with a ledger and an approved plan",
        do="Look at its path and its permissions.",
    )


def _vantage(broker: str, asked: Asked) -> Vantage:
    place = host_and_port(broker)
    if place is None:
        raise _mistake(
            place="--broker",
            found=broker,
            expected=f"HOST:PORT, for example 127.0.0.1:{_PORT}",
        )
    prefix = asked["prefix"]
    if not prefix or any(mark in prefix for mark in "+#$\0"):
        raise _mistake(
            place="--prefix",
            found=prefix,
            expected="words of a-z, 0-9 and -, joined by /",
        )
    host, port = place
    return Vantage(
        host=host,
        port=port,
        prefix=prefix,
        user=asked["user"],
        password=_password(asked["password_file"]),
        ca_file=asked["ca_file"],
    )


def _password(path: Path | None) -> str:
    if path is None:
        return ""
    try:
        return path.read_text("utf-8")[:_PASSWORD_AT_MOST].removesuffix("\n")
    except (OSError, UnicodeDecodeError) as error:
        raise _mistake(
            place="--password-file", found=str(path), expected="one line of text"
        ) from error


def _mistake(*, place: str, found: str, expected: str) -> InputError:
    return InputError(
        Finding(
            what=f"found {found[:60]!a}",
            where=f"overview, {place}",
            expected=expected,
            do="Correct it; nothing was read.",
        )
    )
