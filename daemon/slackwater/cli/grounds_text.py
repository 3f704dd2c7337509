"""The page of a why.

Floor 8. One subject: grounds in words. Laws here: what holds comes before what allows;
each reason says what would end it; what is not as of now says how old it is.
"""

from collections import Counter
from collections.abc import Iterator
from datetime import timedelta

from slackwater.alarms.words import headline
from slackwater.cli.accounts import Account
from slackwater.cli.amounts import effect_words
from slackwater.cli.grounds import Ground, Grounds, skipping
from slackwater.cli.relay_text import REDUCED
from slackwater.cli.render import local, span
from slackwater.cli.width import LONGEST_LABEL
from slackwater.cli.wording import reason_words
from slackwater.facts.events import HoldRaised
from slackwater.facts.reasons import Reason
from slackwater.facts.releases import way_out
from slackwater.outside.glimpse import FRESH
from slackwater.water.show import show_count, show_level, show_volume

_PART = "  "
# Pumps stand in one column whatever they are called.
_NARROW = 12


def overview(told: Grounds) -> str:
    """All lines, one line each, and what holds them."""
    lines = [*_head(told), *_each(told)]
    reasons = {
        reason_words(reason, one.tank): way_out(reason.code)
        for one in told.lines
        for reason in one.reasons
    }
    holds = {hold.hold_id: hold for one in told.lines for hold in one.holds}
    for hold in holds.values():
        lines += ["", *_hold(told, hold)]
    for words, way in reasons.items():
        lines += ["", words, f"  Ends: {way}"]
    lines += _alarms(told)
    return "\n".join(lines)


def _each(told: Grounds) -> Iterator[str]:
    """One line each; below its name where names are long."""
    many = Counter(one.pump.id for one in told.lines)
    names = [
        one.pump.id if many[one.pump.id] == 1 else f"{one.pump.id} ({_line_id(one)})"
        for one in told.lines
    ]
    wide = max(map(len, names), default=0)
    for name, one in zip(names, told.lines, strict=True):
        if wide <= LONGEST_LABEL - len(_PART):
            yield f"{name:{max(wide, _NARROW)}}{_PART}{_now(told, one)}"
        else:
            yield from (name, f"    {_now(told, one)}")


def _line_id(one: Ground) -> str:
    return f"{one.rule.line.tank}/{one.rule.line.id}"


def page(told: Grounds) -> str:
    """The lines of one pump in full."""
    lines = [*_head(told)]
    for one in told.lines:
        lines += ["", *_line(told, one)]
    return "\n".join((*lines, *_alarms(told)))


def _head(told: Grounds) -> Iterator[str]:
    if told.is_here is False:
        yield "No daemon runs on this ledger: nothing is dosed."
    elif told.state.stage == "shadow":
        yield "In shadow: everything is computed and no pump is commanded."
    if told.approved is None:
        yield "No plan is approved: `slackwater approve`."
        return
    approval, utc = told.approved.approval, told.found.now.utc
    if approval.takes_over_at > utc:
        yield f"The plan takes over in {span(approval.takes_over_at - utc)}."
    elif approval.ends_at <= utc:
        yield "The approval has expired: `slackwater approve`."
    elif approval.expires_at <= utc:
        left = span(approval.ends_at - utc)
        yield f"The approval has expired; upkeep goes on for {left}."
    else:
        left = span(approval.expires_at - utc)
        yield f"Approval {approval.serial} is good for {left}."
    yield _glimpse_words(told)


def _glimpse_words(told: Grounds) -> str:
    if told.age is None:
        return "No daemon has written down yet what it sees; holds are as of now."
    if not told.is_here or told.age > FRESH:
        old = span(told.age)
        return f"What the daemon saw is {old} old and is left out; holds are as of now."
    return f"As the daemon saw it {span(told.age)} ago; holds are as of now."


def _now(told: Grounds, one: Ground) -> str:
    would = "would dose" if told.state.stage == "shadow" else "may dose"
    due = _due(told, one)
    if _line_id(one) in told.state.left_to_old:
        return f"the old doser gives it until `slackwater take-over`; {due}"
    if one.word == "unknown":
        return f"nobody looked lately; {due}"
    if one.word == "held":
        count = len(one.holds) + len(one.reasons)
        many = f" for {count} reasons" if count > 1 else ""
        return f"is held{many}; {due}"
    if one.seen is not None and one.word == "shortened":
        given, asked = one.seen.volume_ul, one.seen.asked_ul
        less = f"{show_volume(given)} instead of {show_volume(asked)}"
        return f"{would} {less}; {due}"
    return f"{would}; {due}"


def _due(told: Grounds, one: Ground) -> str:
    dose = one.following
    if dose is None:
        return "nothing is due"
    ahead = span(dose.due_at - told.found.now.utc)
    at = local(dose.due_at, one.tank.zone)
    left_out = show_count(len(one.skipped), "dose")
    before = f" ({left_out} before it will be skipped)" if one.skipped else ""
    return f"{show_volume(dose.volume_ul)} due {at}, in {ahead}{before}"


def _line(told: Grounds, one: Ground) -> Iterator[str]:
    yield f"{one.pump.id}  {_line_id(one)} {_now(told, one)}"
    for hold in one.holds:
        yield from (f"  {words}" for words in _hold(told, hold))
    for dose in one.skipped:
        at = local(dose.due_at, one.tank.zone)
        request = skipping(told.state, dose.id)
        yield f"  Skipped   {dose.id}, due {at}, by request {request}; not made up"
    for aside in one.bypasses:
        until = local(aside.until, one.tank.zone)
        yield f'  Bypassed  {aside.interlock} until {until} by {aside.by} "{aside.why}"'
    for reason in one.reasons:
        yield from (f"  {words}" for words in _reason(one, "Keeps it", reason))
    for reason in one.passing:
        yield f"  Passes    {reason_words(reason, one.tank)} {way_out(reason.code)}"
    if one.seen is not None:
        for reason in one.seen.shortened:
            yield from (f"  {words}" for words in _reason(one, "Shortens", reason))
        yield f"  Seen      {'; '.join(_seen(told, one))}"
    yield f"  Known     {'; '.join(_known(told, one))}"
    counted = ", ".join(_account(one, account) for account in one.accounts)
    yield f"  Counted   {counted}"
    if one.unanswered_ms:
        left = span(timedelta(milliseconds=one.unanswered_ms))
        yield (
            "            A whole cap of it is there because nobody said what was dosed "
            f"before the ledger was made; it comes free in {left}."
        )


def _hold(told: Grounds, hold: HoldRaised) -> Iterator[str]:
    age = span(told.found.now.utc - hold.at)
    note = f' "{hold.note}"' if hold.note else ""
    by = f" by {hold.by}" if hold.by != "daemon" else ""
    yield f"Held      {reason_words(hold.reason)}"
    yield f"          {hold.hold_id} ({hold.scope}), {age} old{by}{note}"
    if hold.until is not None:
        left = span(max(hold.until - told.found.now.utc, timedelta()))
        yield f"          Ends by itself in {left}."
        return
    yield f"          Ends: {way_out(hold.reason.code, is_latched=hold.latched)}"


def _reason(one: Ground, label: str, reason: Reason) -> Iterator[str]:
    yield f"{label:8}  {reason_words(reason, one.tank)}"
    yield f"          Ends: {way_out(reason.code)}"


def _seen(told: Grounds, one: Ground) -> Iterator[str]:
    """What only the daemon can see, as it was written down."""
    glimpse = told.glimpse
    if glimpse is None:
        return
    link = glimpse.observe_up and glimpse.actuate_up
    yield "the link is up" if link else "the link is down"
    is_set = "is synchronised" if glimpse.synchronised else "is not synchronised"
    yield f"the clock {is_set}"
    node = glimpse.nodes.get(one.pump.node)
    if node is None:
        yield f"node {one.pump.node} was not heard"
    else:
        state, room_ul = node.channels.get(one.pump.channel, ("unknown", 0))
        yield (
            f"node {one.pump.node} was heard {node.beat_age_s:.0f} s before, {state}, "
            f"with room for {show_volume(room_ul)}"
        )
    probes = told.approved.machine.probes if told.approved else {}
    for name, seen in sorted(glimpse.probes.items()):
        known = probes.get(name)
        if known is not None and known.tank == one.tank.id:
            age = span(glimpse.at - seen.taken_at)
            yield f"{name} read {show_level(seen.parameter, seen.value)} {age} before"


def _known(told: Grounds, one: Ground) -> Iterator[str]:
    """What the ledger says of the pump."""
    utc = told.found.now.utc
    known = told.state.calibrations.get(one.pump.id)
    yield (
        "never calibrated"
        if known is None
        else f"calibrated {span(utc - known.at)} ago"
    )
    machine = told.approved.machine if told.approved else None
    if machine is not None and machine.nodes[one.pump.node].relay is not None:
        yield f"behind a timed relay: {REDUCED}"
    flow = told.state.flows.get(one.pump.id)
    if flow is not None:
        ago_ms = max(told.found.proven_ms - flow.end_ms, 0)
        yield f"ran {span(timedelta(milliseconds=ago_ms))} ago"
    if told.state.resuming.get(one.tank.id) is not None:
        yield "comes back slowly after a gap"


def _account(one: Ground, account: Account) -> str:
    if not account.parameter:
        charged, cap = show_volume(account.charged), show_volume(account.cap)
    else:
        charged = effect_words(account.parameter, account.charged, one.tank)
        cap = effect_words(account.parameter, account.cap, one.tank)
    return f"{charged} of {cap} {account.name}"


def _alarms(told: Grounds) -> list[str]:
    if not told.alarms:
        return []
    return ["", *(f"Alarm     {headline(one.raised)}" for one in told.alarms)]
