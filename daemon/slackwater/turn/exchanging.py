"""What exchanges of water leave behind: holds, and water changes in the book.

Floor 4. One subject: pairs of pumps between two decisions. Laws here: what was drained
and is not made up for in time stops its pair and waits for a person; each fill that
ended is booked once, with what is known of the new water; the fold of the entry says
that it is booked, so a crash between the two books it again and not twice.
Source: C1 = C0 (1 - f) + Cn f (`water.water_changes`).
"""

from collections.abc import Iterator
from datetime import timedelta

from slackwater.facts.events import AnyEvent, HoldRaised, HoldReleased
from slackwater.facts.exchanges import Account, Exchange, fill_of
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.waters import WaterChanged
from slackwater.gate.exchanges import account_of, off_by, owes
from slackwater.gate.moment import Ask, Moment
from slackwater.gate.switches import switches_of
from slackwater.planning.amounts import largest_ul
from slackwater.pump.outcome import Stamp
from slackwater.water.water_changes import step_of_change

# A fill is missed long before, unless nobody was there to say so.
PATIENCE = timedelta(hours=1)
UNCOUNTED = -1


def part_of(moment: Moment, ask: Ask) -> tuple[str, int]:
    """What an intent says of its exchange: `PAIR/ROLE`, and what top-off counted."""
    found = moment.machine.pair_of(ask.pump.pump.id)
    if found is None or ask.kind != "plan":
        return "", UNCOUNTED
    pair, role = found
    return f"{pair.id}/{role}", counted_ul(moment, pair.tank)


def counted_ul(moment: Moment, tank: str) -> int:
    """All that counters of top-off water show now, below 0 where none is heard."""
    seen = [
        moment.sight.counters[switch.id].total_ul
        for switch in switches_of(moment, tank, "top-off")
        if switch.id in moment.sight.counters
    ]
    return sum(seen) if seen else UNCOUNTED


def tend(moment: Moment, stamp: Stamp) -> Iterator[AnyEvent]:
    """What became of exchanges since the last turn."""
    for _, pair in sorted(moment.machine.exchanges.items()):
        account = account_of(moment, pair)
        if account.unbooked:
            yield _booked(moment, pair, account, stamp)
            continue
        yield from _stopped(moment, pair, stamp)
        yield from _proven(moment, pair, stamp)


def portion_ul(moment: Moment, pair: Exchange) -> int:
    """The largest portion of a pair by the plan in force, 0 where it has none."""
    lines = (rule.line for rule in moment.rules.lines.values())
    portions = [largest_ul(line) for line in lines if line.pump == pair.drain]
    return max(portions, default=0)


def _stopped(moment: Moment, pair: Exchange, stamp: Stamp) -> Iterator[HoldRaised]:
    """Holds on the drain: the fill that is owed may still come in."""
    reasons = list(off_by(moment, pair, portion_ul(moment, pair)))
    if _is_unfilled(moment, pair):
        account = account_of(moment, pair)
        reasons.append(
            because(
                Code.EXCHANGE_UNFILLED,
                pair=pair.id,
                dose=account.dose,
                drained_ul=account.owed_ul,
            )
        )
    for reason in reasons:
        hold_id = f"{_WORDS[reason.code]}/{pair.id}"
        if hold_id not in moment.state.holds:
            yield _hold(pair, hold_id, reason, stamp)


_WORDS = {
    Code.EXCHANGE_UNFILLED: "exchange",
    Code.EXCHANGE_OFF: "exchange-off",
    Code.EXCHANGE_UNPROVEN: "exchange-unproven",
}


def _hold(pair: Exchange, hold_id: str, reason: Reason, stamp: Stamp) -> HoldRaised:
    return HoldRaised(
        **stamp,
        hold_id=hold_id,
        scope=f"pump/{pair.drain}",
        reason=reason,
        latched=reason.code is not Code.EXCHANGE_UNPROVEN,
    )


def _is_unfilled(moment: Moment, pair: Exchange) -> bool:
    """Whether what was drained will not be made up for by its fill any more."""
    account = account_of(moment, pair)
    if account.phase == "unknown":
        return True
    if not owes(moment, pair) or account.latest_at is None:
        return False
    until = account.latest_at + timedelta(seconds=pair.settle_s) + PATIENCE
    return fill_of(account.dose) in moment.state.used or moment.now.utc > until


def _proven(moment: Moment, pair: Exchange, stamp: Stamp) -> Iterator[HoldReleased]:
    """Levels that were measured end the hold that asked for them."""
    hold_id = f"{_WORDS[Code.EXCHANGE_UNPROVEN]}/{pair.id}"
    if hold_id not in moment.state.holds:
        return
    if not any(off_by(moment, pair, portion_ul(moment, pair))):
        why = "levels were measured"
        yield HoldReleased(**stamp, hold_id=hold_id, by="daemon", why=why)


def _booked(
    moment: Moment, pair: Exchange, account: Account, stamp: Stamp
) -> WaterChanged:
    water = moment.state.fills.get(moment.machine.pumps[pair.fill].reservoir)
    levels = {} if water is None else dict(water.levels)
    share = account.unbooked_ul / moment.machine.tanks[pair.tank].net_ul
    return WaterChanged(
        **stamp,
        id=account.unbooked,
        tank=pair.tank,
        changed_at=account.unbooked_at or moment.now.utc,
        volume_ul=account.unbooked_ul,
        by="daemon",
        batch="" if water is None else water.lot,
        levels=levels,
        steps=_steps(moment, pair.tank, levels, share),
        topped_ul=_topped_ul(moment, pair, account),
    )


def _topped_ul(moment: Moment, pair: Exchange, account: Account) -> int:
    """What the top-off gave since the drain began; a total that fell began anew."""
    now_ul = counted_ul(moment, pair.tank)
    if UNCOUNTED in (now_ul, account.counted_ul):
        return 0
    more_ul = now_ul - account.counted_ul
    return more_ul if more_ul >= 0 else now_ul


def _steps(
    moment: Moment, tank: str, levels: dict[str, float], share: float
) -> dict[str, float]:
    """How far it moves each level that is known in both waters.

    Changes since a test are taken as they were foretold.
    """
    found = {}
    for name, new in sorted(levels.items()):
        test = moment.state.levels.get(f"{tank}/{name}")
        if test is None:
            continue
        moved = sum(
            change.steps.get(name, 0.0)
            for change in moment.state.changes.values()
            if change.tank == tank and test.taken_at < change.changed_at
        )
        found[name] = step_of_change(test.value + moved, new, share)
    return found
