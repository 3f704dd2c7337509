"""Runs that a person asks of the daemon: what is refused before it is written down.

Floor 8. One subject: a local request. Laws here: asking is an entry and moves nothing;
what nobody would carry out, or no waiting would let through, is refused at once; the
same wish a moment later is a bounced key, not a second wish.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from secrets import token_hex
from typing import Literal

from slackwater.cli.opening import approval_at, daemon_is_here, only, write
from slackwater.cli.render import local
from slackwater.cli.shell import Shell
from slackwater.cli.typed import typed_ul
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.facts.events import AnyEvent, ShotRequested
from slackwater.facts.reliable import smallest_dose_ul
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Pump
from slackwater.outside.settings import read_machine
from slackwater.pump.command import (
    offset_in_force,
    pulse_ul,
    rate_in_force,
    run_ms,
)
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_volume

# A local request is good for half an hour (dry-run rules of manual requests).
REQUEST_LASTS = timedelta(minutes=30)
# The same wish within this time is taken for one (hazard H55).
BOUNCES_MS = 10_000
# The verbs that fill or rinse a hose: two of them are two wishes.
FILLS = ("prime", "flush", "swap-tube", "move-bottle")
# The one of them for which the hose's inlet is put into clean water.
RINSES = "flush"
# The ceilings of a run, as slackwater.toml calls them, and where the pump has them.
CEILINGS = {
    "most_by_hand": "per_hand_ul",
    "most_per_dose": "per_dose_ul",
    "most_per_priming": "per_priming_ul",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """One run that a person asks for; `ceilings` are those it is held against.

    One that `rinses` draws clean water and leaves its bottle as it is.
    """

    verb: str
    pump: str
    volume: str
    purpose: Literal["prime", "manual"]
    why: str
    by: str
    ceilings: tuple[str, ...]
    rinses: bool = False


def filling(words: tuple[str, str, str], by: str, *, outlet_out: bool) -> Wish:
    """What fills or rinses a hose: given to the water unless its outlet hangs out.

    Shape: `words` are verb, pump and volume.
    """
    verb, pump, volume = words
    in_water = ("most_per_priming", "most_by_hand", "most_per_dose")
    return Wish(
        verb=verb,
        pump=pump,
        volume=volume,
        purpose="prime" if outlet_out else "manual",
        why=_fill_words(verb, out=outlet_out),
        by=by,
        ceilings=("most_per_priming",) if outlet_out else in_water,
        rinses=verb == RINSES,
    )


def _fill_words(verb: str, *, out: bool) -> str:
    return f"{verb}, outlet {'out of' if out else 'in'} the water"


@dataclass(frozen=True, slots=True, kw_only=True)
class Granted:
    """A wish that stands: until when on the clock of its tank, and what stops it."""

    asked: ShotRequested
    until: str
    holds: tuple[str, ...]


def asked_for(shell: Shell, wish: Wish) -> Granted:
    """The entry of a wish, until when it is good, and what it waits for.

    Raises: InputError for what is no volume or no pump; RefusedError for what nobody
    would carry out; the ledger errors.
    """

    def decide(state: State, stamp: Stamp) -> Sequence[AnyEvent]:
        return (wished(shell, state, stamp, wish),)

    state, events = write(shell.state, decide)
    asked = only(events, ShotRequested)
    machine = _machine(state, asked.at)
    return Granted(
        asked=asked,
        until=good_until(state, asked),
        holds=tuple(holds_on(state, machine, asked)),
    )


def wished(shell: Shell, state: State, stamp: Stamp, wish: Wish) -> ShotRequested:
    """The entry of a wish that somebody would carry out.

    Raises: as `asked_for`.
    """
    volume_ul = typed_ul(wish.volume, f"{wish.verb} VOLUME")
    if volume_ul <= 0:
        raise InputError(_nothing(wish))
    # A name that is none comes first: it stays wrong when pumps are enabled.
    _refuse_unknown(shell, state, stamp, wish)
    _refuse_unready(shell, state)
    pump = _machine(state, stamp["at"]).pumps[wish.pump]
    for name in wish.ceilings:
        _refuse_beyond(pump, volume_ul, name)
    if wish.purpose == "manual":
        _refuse_less(state, pump, volume_ul)
    refuse_unfit(state, _machine(state, stamp["at"]), pump, volume_ul)
    asked = ShotRequested(
        **stamp,
        request=f"hand-{token_hex(8)}",
        pump=wish.pump,
        volume_ul=volume_ul,
        until=stamp["at"] + REQUEST_LASTS,
        by=wish.by,
        purpose=wish.purpose,
        why=wish.why,
        rinses=wish.rinses,
    )
    refuse_bounce(state, asked)
    return asked


def good_until(state: State, asked: ShotRequested) -> str:
    """The end of a request on the wall clock of its tank."""
    machine = _machine(state, asked.at)
    return local(asked.until, machine.tanks[machine.pumps[asked.pump].tank].zone)


def _machine(state: State, at: datetime) -> Machine:
    approved = approval_at(state, at)
    if approved is None:
        raise RefusedError(_not_live("no approval is in force", "an approved plan"))
    return approved.machine


def _refuse_unknown(shell: Shell, state: State, stamp: Stamp, wish: Wish) -> None:
    """Refuse a pump that is none; before any approval the files say which there are."""
    approved = approval_at(state, stamp["at"])
    try:
        machine = approved.machine if approved else read_machine(shell.config)
    except InputError:
        # Files that cannot be read are no matter of this verb: nothing is approved.
        return
    if wish.pump not in machine.pumps:
        raise InputError(
            Finding(
                what=f'there is no pump "{wish.pump}"',
                where=f"{wish.verb} PUMP",
                expected="one of " + ", ".join(sorted(machine.pumps)),
                do="Name a pump of the approved machine.",
            )
        )


def _refuse_unready(shell: Shell, state: State) -> None:
    """Refuse what nobody would carry out."""
    if state.stage != "live":
        raise RefusedError(_not_live("pumps are not enabled", "pumps enabled"))
    if daemon_is_here(shell.state) is False:
        raise RefusedError(_not_live("no daemon runs on this ledger", "a daemon"))


def _refuse_beyond(pump: Pump, volume_ul: int, name: str) -> None:
    """Refuse at once what no waiting would let through."""
    cap_ul: int = getattr(pump, CEILINGS[name])
    if volume_ul > cap_ul:
        raise RefusedError(
            Finding(
                what=f"{show_volume(volume_ul)} is more than the pump may give",
                where=f"slackwater.toml [pump.{pump.id}] {name}",
                expected=f"at most {show_volume(cap_ul)}",
                do="Ask for less, or change the file and approve it.",
            )
        )


def _refuse_less(state: State, pump: Pump, volume_ul: int) -> None:
    """Refuse at once what the gate would miss as too small, maybe minutes later."""
    least_ul = smallest_dose_ul(state, pump)
    if volume_ul < least_ul:
        raise RefusedError(
            Finding(
                what=f"{show_volume(volume_ul)} is less than {pump.id} gives reliably",
                where=f"slackwater.toml [pump.{pump.id}] smallest_dose, or what its "
                "calibration showed",
                expected=f"at least {show_volume(least_ul)}",
                do="Nothing was asked for. Ask for more, or give so little by hand and "
                "tell it with `slackwater added`.",
            )
        )


def refuse_unfit(state: State, machine: Machine, pump: Pump, volume_ul: int) -> None:
    """Refuse a run that the pump's node or relay would never take.

    Units: microlitres. Raises: RefusedError, as the command would be refused later.
    """
    node = machine.nodes[pump.node]
    relay, rate_nl_per_s = node.relay, rate_in_force(state, pump)[0]
    offset_nl = offset_in_force(state, pump)
    if relay is not None and relay.always_ms:
        least_ul = pulse_ul(relay.always_ms, rate_nl_per_s, offset_nl)
        if volume_ul < least_ul:
            raise RefusedError(_less_than_a_pulse(pump, volume_ul, least_ul))
    elif run_ms(volume_ul, rate_nl_per_s, offset_nl) > node.cut_limit_ms:
        raise RefusedError(_too_long(pump, volume_ul, node.cut_limit_ms))


def _less_than_a_pulse(pump: Pump, volume_ul: int, least_ul: int) -> Finding:
    return Finding(
        what=f"{show_volume(volume_ul)} is less than one pulse gives",
        where=f"slackwater.toml [relay.{pump.node}] one_length",
        expected=f"{show_volume(least_ul)} or more: a run of {pump.id} is one pulse",
        do="Nothing was asked for. Ask for a pulse, and hold a cup for all of it.",
    )


def _too_long(pump: Pump, volume_ul: int, limit_ms: int) -> Finding:
    return Finding(
        what=f"{show_volume(volume_ul)} takes {pump.id} longer than its node runs",
        where=f"slackwater.toml [node.{pump.node}] longest_run",
        expected=f"what flows in {limit_ms / 1000:g} s",
        do="Nothing was asked for. Ask for less, several times.",
    )


def refuse_bounce(state: State, asked: ShotRequested) -> None:
    """Nothing, unless the very same still waits, or was asked for within ten seconds.

    The reason of a dose by hand is no part of it; the seconds are proven time.
    Raises: RefusedError naming the request that stands.
    """
    last = state.by_hand.get(asked.pump)
    if last is None or _gist(last) != _gist(asked):
        return
    waits = last.request in state.requests and asked.at <= last.until
    passed_ms = asked.proven_ms - last.proven_ms
    if waits or passed_ms < BOUNCES_MS:
        raise RefusedError(_stands(last, passed_ms, waits=waits))


def _stands(last: ShotRequested, passed_ms: int, *, waits: bool) -> Finding:
    still = " and still waits" if waits else ""
    first_runs = "the first to run, and " if waits else ""
    return Finding(
        what=f"the same was asked for {passed_ms / 1000:.0f} s ago{still}",
        where=f"pump {last.pump}",
        expected=f"{first_runs}{BOUNCES_MS // 1000} s between two equal requests",
        do=f"Nothing was added; {last.request} stands. If a second one is really "
        f"meant, ask again {'when the first was given' if waits else 'in a while'}.",
    )


def holds_on(state: State, machine: Machine, asked: ShotRequested) -> list[str]:
    """The holds that stop this very run, by name: it waits until they end."""
    pump = machine.pumps[asked.pump]
    scopes = {"all", f"tank/{pump.tank}", f"pump/{pump.id}", f"node/{pump.node}"}
    if asked.purpose == "manual":
        scopes.add(f"water/{pump.tank}")
    return sorted(name for name, hold in state.holds.items() if hold.scope in scopes)


def _gist(asked: ShotRequested) -> tuple[int, str, str]:
    """What makes two requests the same: how much, where to, and what for."""
    fills = {_fill_words(verb, out=out) for verb in FILLS for out in (True, False)}
    return asked.volume_ul, asked.purpose, asked.why if asked.why in fills else ""


def _not_live(what: str, expected: str) -> Finding:
    return Finding(
        what=f"{what}: nobody would carry it out",
        where="stage",
        expected=expected,
        do="Nothing was asked for. See `slackwater status`; pour by hand and tell it "
        "with `slackwater added`, or fill a hose while you calibrate.",
    )


def _nothing(wish: Wish) -> Finding:
    return Finding(
        what=f'"{wish.volume}" is nothing to pump',
        where=f"{wish.verb} VOLUME",
        expected="more than 0 mL",
        do="Nothing was asked for.",
    )
