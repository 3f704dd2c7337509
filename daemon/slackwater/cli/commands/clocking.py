"""`clock confirm`: a person vouches for the clock of this machine.

Floor 8. One subject: ending clock holds by hand. Laws here: the time is shown and
confirmed before it is trusted; it counts until the machine reboots.
"""

from collections.abc import Sequence
from datetime import datetime

import click

from slackwater.cli.described import described
from slackwater.cli.document import Answer
from slackwater.cli.opening import local_user, opened, write
from slackwater.cli.readiness import CLOCK_CODES
from slackwater.cli.render import local, local_here
from slackwater.cli.shell import Shell, verb
from slackwater.cli.subject import UTC_ZONE
from slackwater.cli.typed import WORD_AT_MOST, typed_text
from slackwater.errors import Finding, RefusedError
from slackwater.facts.events import AnyEvent, ClockConfirmed, HoldReleased
from slackwater.facts.lives import NOT_AGAIN_WITHIN, decided_ahead
from slackwater.facts.state import State
from slackwater.ledger.codec import timestamp
from slackwater.outside.clock import SystemClock
from slackwater.pump.outcome import Stamp


@verb(
    "clock",
    epilog="Where a time service keeps the clock, none of this is needed. "
    "Example: slackwater clock confirm",
)
@click.argument("act", type=click.Choice(["confirm"]))
@click.option("--yes", is_flag=True, help="Do not ask; for scripts that set the clock.")
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
def clock(shell: Shell, act: str, *, yes: bool, by: str | None) -> Answer:
    """Vouch for the clock of this machine.

    Shows the time and asks whether it is right. Ends the holds that a clock caused,
    until the machine reboots. Doses still to come that a clock which was ahead missed
    are given when they are due; those it gave are given again, but not within 24 hours.
    """
    del act
    who = typed_text(by or local_user(), "--by", WORD_AT_MOST)
    with opened(shell.state) as found:
        machine, shown = described(shell, found.state), found.now.utc
        again = sorted(
            line for line, (_, last) in found.state.spans.items() if last > shown
        )
    zones = sorted({tank.zone for tank in machine.tanks.values()} if machine else ())
    words = _clock_words(shown, zones)
    if not yes and not click.confirm(f"Is it {words}?", err=True):
        raise RefusedError(_denied(words))
    ended: list[str] = []
    twice: list[tuple[datetime, datetime]] = []

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        boot_id = SystemClock().now().boot_id
        until = decided_ahead(state, stamp["at"])
        twice[:] = [(stamp["at"], until)] if until else []
        ended[:] = [
            name
            for name, raised in sorted(state.holds.items())
            if raised.reason.code in CLOCK_CODES
        ]
        return [
            ClockConfirmed(**stamp, boot_id=boot_id, by=who, again_until=until),
            *(
                HoldReleased(**stamp, hold_id=name, by=who, why="clock confirmed")
                for name in ended
            ),
        ]

    # A clock before the newest entry is what this verb is for.
    write(shell.state, decide, makes_safer=True)
    holds = f" Released: {', '.join(ended)}." if ended else ""
    return Answer(
        fields={
            "confirmed": timestamp(shown),
            "released": ended,
            "due_again": again,
            "comes_again": [
                {"after": timestamp(after), "until": timestamp(until)}
                for after, until in twice
            ],
        },
        text=f"The clock counts as right until this machine reboots.{holds}"
        f"{_of_the_wrong_clock(again, twice, zones[0] if zones else UTC_ZONE)}",
    )


def _clock_words(utc: datetime, zones: Sequence[str]) -> str:
    """The time as clocks on the wall show it, and in UTC beside where that differs."""
    here = [local(utc, zone) for zone in zones] or [local_here(utc)]
    plain = local(utc, UTC_ZONE)
    words = " or ".join(dict.fromkeys(here))
    return words if words == plain else f"{words}, which is {plain}"


def _of_the_wrong_clock(
    again: Sequence[str], twice: Sequence[tuple[datetime, datetime]], zone: str
) -> str:
    """What becomes of the doses that a clock which was ahead decided."""
    words = ""
    if again:
        words += (
            f" Missed by the wrong clock alone, given when due: {', '.join(again)}."
        )
    for after, until in twice:
        kept = local(after + NOT_AGAIN_WITHIN, zone)
        words += (
            f" The wrong clock has decided doses up to {local(until, zone)}. Those it "
            f"missed are given when they are due, those it gave only where that is "
            f"after {kept}; their names then end in .2, a third time in .3."
        )
    return words


def _denied(words: str) -> Finding:
    return Finding(
        what=f"the clock is not right: it says {words}",
        where="clock",
        expected="the right time",
        do="Set the clock, then run `slackwater clock confirm` again. Doses stay held.",
    )
