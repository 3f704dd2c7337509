"""Whether a node remembers runs that the ledger does not.

Floor 4. One subject: the node as a witness. Laws here: a ledger that was put back in
time knows fewer runs than its nodes; what they counted beyond it was dosed by somebody,
so everything is held; a node that began anew proves nothing.
"""

from collections.abc import Iterator

from slackwater.facts.events import HoldRaised
from slackwater.facts.messages import Beat
from slackwater.facts.reasons import Code, Reason, because
from slackwater.gate.moment import Moment
from slackwater.pump.outcome import Stamp


def forgotten(moment: Moment, beat: Beat, stamp: Stamp) -> Iterator[HoldRaised]:
    """A hold when channels count runs that nobody wrote down.

    Looked at from a start on until the first command of this daemon to a channel:
    while a ledger is open nobody can put it back unseen. One hold speaks of all
    channels, and while it stands of the next node too: a person looks once.
    """
    if moment.state.stage != "live":
        return
    seen = moment.sight.nodes.get(beat.node)
    if seen is None or seen.beat.boot != beat.boot:
        return
    more = [
        (name, channel.n, expected)
        for name, channel in sorted(beat.channels.items())
        if (expected := _expected(moment, beat, name)) is not None
        and channel.n > expected
    ]
    if more:
        yield HoldRaised(
            **stamp,
            hold_id=Code.LEDGER_FORGETS,
            scope="all",
            reason=_reason(beat, more),
            latched=True,
        )


def _reason(beat: Beat, more: list[tuple[str, int, int]]) -> Reason:
    """The first channel in full, and what the others counted."""
    (name, counted, known), *rest = more
    also = {"also": ", ".join(f"{name} {n}" for name, n, _ in rest)} if rest else {}
    return because(
        Code.LEDGER_FORGETS,
        node=beat.node,
        channel=name,
        boot=beat.boot,
        counted=counted,
        known=known,
        **also,
    )


def _expected(moment: Moment, beat: Beat, channel: str) -> int | None:
    """The most runs a channel may have counted; None where nothing can be said.

    A channel that was never commanded says nothing, unless it may have been in a life
    that this ledger knows nothing of.
    """
    known = moment.state.commanded.get(f"{beat.node}/{channel}")
    if known is None:
        return 0 if _has_another_past(moment, beat) else None
    if known.fence >= moment.state.fence:
        return None
    # In another boot than that of the newest command no run is known at all.
    return known.n + 1 if known.boot == beat.boot else 0


def _has_another_past(moment: Moment, beat: Beat) -> bool:
    """Whether the ledger was restored and nobody has looked yet, or something is amiss.

    A node that obeyed a fence from between this start and the one before it obeyed
    another life: each start of this ledger is on record.
    """
    state = moment.state
    if Code.LEDGER_RESTORED in state.holds:
        return True
    return state.fence_before < beat.fence < state.fence
