"""`dose`: one dose that a person asks for, here and now.

Floor 8. One subject: asking by hand. Laws here: asking is an entry and moves nothing;
the daemon gives it through the same gate, caps and ledger as any dose, within half an
hour or never; the same wish a moment later is a bounced key, not a second wish.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from secrets import token_hex

import click

from slackwater.cli.document import Answer
from slackwater.cli.opening import (
    approval_at,
    daemon_is_here,
    local_user,
    only,
    write,
)
from slackwater.cli.render import local
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text, typed_ul
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import AnyEvent, ShotRequested
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Pump
from slackwater.ledger.codec import timestamp
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_volume

# A local request is good for half an hour (dry-run rules of manual requests).
REQUEST_LASTS = timedelta(minutes=30)
# The same wish within this time is taken for one (hazard H55).
BOUNCES_MS = 10_000


@verb(
    "dose",
    epilog="This moves liquid, into the tank. It counts against every ceiling of the "
    "pump and of the water, and against most_by_hand of the pump, which is nothing "
    "unless slackwater.toml says so. What was poured in by hand, without a pump, is "
    "told with `slackwater added`. Example: slackwater dose carbonate '5 mL' "
    "--reason 'alkalinity fell over the weekend'",
)
@click.argument("pump")
@click.argument("volume")
@click.option("--reason", required=True, metavar="TEXT", help="Why, for the record.")
@click.option("--by", metavar="NAME", help="Who asks.  [default: the local user]")
def dose(shell: Shell, pump: str, volume: str, reason: str, by: str | None) -> Answer:
    """Ask for one dose by hand.

    The daemon gives it when the gate allows, within half an hour; it is judged like a
    correction. Nothing of the plan is left out for it.
    """
    who = typed_text(by or local_user(), "--by", WORD_AT_MOST)
    why = typed_text(reason, "--reason")
    volume_ul = typed_ul(volume, "dose VOLUME")
    if not why or volume_ul <= 0:
        raise InputError(_nothing(volume, why))
    request = f"hand-{token_hex(8)}"

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        _refuse_unready(shell, state)
        _refuse_beyond(_pump_of(state, stamp, pump), volume_ul)
        refuse_bounce(state, stamp, pump, volume_ul)
        return (
            ShotRequested(
                **stamp,
                request=request,
                pump=pump,
                volume_ul=volume_ul,
                until=stamp["at"] + REQUEST_LASTS,
                by=who,
                purpose="manual",
                why=why,
            ),
        )

    state, events = write(shell.state, decide)
    asked = only(events, ShotRequested)
    machine = _machine(state, asked.at)
    zone = machine.tanks[machine.pumps[pump].tank].zone
    return Answer(
        fields={
            "request": request,
            "pump": pump,
            "volume_ul": volume_ul,
            "until": timestamp(asked.until),
        },
        text=f"Asked for {show_volume(volume_ul)} of {pump}. The daemon gives it when "
        f"nothing speaks against it, until {local(asked.until, zone)}, or never.\n"
        f"What became of it: `slackwater why {request}`.\n",
    )


def _machine(state: State, at: datetime) -> Machine:
    approved = approval_at(state, at)
    if approved is None:
        raise RefusedError(_not_live("no approval is in force", "an approved plan"))
    return approved.machine


def _pump_of(state: State, stamp: Stamp, pump: str) -> Pump:
    machine = _machine(state, stamp["at"])
    if pump not in machine.pumps:
        raise InputError(
            Finding(
                what=f'there is no pump "{pump}"',
                where="dose PUMP",
                expected="one of " + ", ".join(sorted(machine.pumps)),
                do="Name a pump of the approved machine.",
            )
        )
    return machine.pumps[pump]


def _refuse_unready(shell: Shell, state: State) -> None:
    """Refuse what nobody would carry out."""
    if state.stage != "live":
        raise RefusedError(_not_live("pumps are not enabled", "pumps enabled"))
    if daemon_is_here(shell.state) is False:
        raise RefusedError(_not_live("no daemon runs on this ledger", "a daemon"))


def _refuse_beyond(pump: Pump, volume_ul: int) -> None:
    """Refuse at once what no waiting would let through."""
    for name, cap_ul in (
        ("most_by_hand", pump.per_hand_ul),
        ("most_per_dose", pump.per_dose_ul),
    ):
        if volume_ul > cap_ul:
            raise RefusedError(
                Finding(
                    what=f"{show_volume(volume_ul)} is more than the pump may give",
                    where=f"slackwater.toml [pump.{pump.id}] {name}",
                    expected=f"at most {show_volume(cap_ul)}",
                    do="Ask for less, or change the file and approve it.",
                )
            )


def refuse_bounce(state: State, stamp: Stamp, pump: str, volume_ul: int) -> None:
    """Nothing, unless the very same was asked for within ten seconds.

    Units: microlitres; the seconds are proven time.
    Raises: RefusedError naming the request that stands.
    """
    last = state.by_hand.get(pump)
    if last is None or last.volume_ul != volume_ul:
        return
    passed_ms = stamp["proven_ms"] - last.proven_ms
    if passed_ms < BOUNCES_MS:
        raise RefusedError(
            Finding(
                what=f"the same dose was asked for {passed_ms / 1000:.0f} s ago",
                where=f"pump {pump}",
                expected=f"{BOUNCES_MS // 1000} s between two equal requests",
                do=f"Nothing was added; {last.request} stands. If a second dose is "
                "really meant, ask again in a while.",
            )
        )


def _not_live(what: str, expected: str) -> Finding:
    return Finding(
        what=f"{what}: nobody would give the dose",
        where="dose",
        expected=expected,
        do="Nothing was asked for. See `slackwater status`; pour by hand and tell it "
        "with `slackwater added`.",
    )


def _nothing(volume: str, why: str) -> Finding:
    return Finding(
        what="no reason was given" if not why else f'"{volume}" is no dose',
        where="--reason" if not why else "dose VOLUME",
        expected="a reason in a few words" if not why else "more than 0 mL",
        do="Nothing was asked for.",
    )
