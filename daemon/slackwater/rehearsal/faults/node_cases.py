"""Faults of broker, wire and pump node.

Floor 6. One subject: groups B, C and I of the hazards as scripts. Laws here: each
breaks one thing, and mends it where it mends by itself.
"""

from functools import partial

from slackwater.facts.messages import LinkChanged, Result, RetainedCommand
from slackwater.facts.reasons import Code
from slackwater.rehearsal.faults.case import Case, Strike, Target
from slackwater.rehearsal.faults.house import (
    HOUR_MS,
    MINUTE_MS,
    SECOND_MS,
    WIRE_MS,
    House,
)
from slackwater.rehearsal.faults.node import HOUR_MS as SLOT_MS

MENDED_MS = 3 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
STRAY = "f" * 32


def broker_away(span_ms: int) -> Strike:
    """The broker is gone for a while; the daemon notices at once."""
    return partial(_broker_away, span_ms)


def _broker_away(span_ms: int, house: House, target: Target) -> None:
    house.at(target.before_ms, lambda: _link(house, up=False))
    house.at(target.before_ms + span_ms, lambda: _link(house, up=True))


def _link(house: House, *, up: bool) -> None:
    house.wire.up = up
    house.links(up=up)
    house.look_closely(MENDED_MS)


def _link_lost_in_run(house: House, target: Target) -> None:
    middle_ms = target.middle_ms
    house.at(middle_ms, lambda: _link(house, up=False))
    house.at(middle_ms + 20 * MINUTE_MS, lambda: _link(house, up=True))


def doubled(house: House, target: Target) -> None:
    """The command of this dose arrives three times."""
    copies = (WIRE_MS, SECOND_MS, 70 * SECOND_MS)
    house.at(target.before_ms, lambda: _copies(house, copies))
    house.at(target.due_ms + MINUTE_MS, lambda: _copies(house, (WIRE_MS,)))


def _copies(house: House, copies_ms: tuple[int, ...]) -> None:
    house.wire.copies_ms = copies_ms


def _late_command(house: House, target: Target) -> None:
    house.at(target.before_ms, lambda: _copies(house, (40 * SECOND_MS,)))
    house.at(target.due_ms + 2 * MINUTE_MS, lambda: _copies(house, (WIRE_MS,)))


def _retained(house: House, target: Target) -> None:
    at_ms = target.before_ms
    found = RetainedCommand(node=target.node)
    house.at(at_ms, lambda: house.wire.to_daemon(found, at_ms))


def _taken_over(house: House, target: Target) -> None:
    at_ms = target.before_ms
    lost = LinkChanged(link="actuate", up=False, taken_over=True)
    back = LinkChanged(link="actuate", up=True)
    house.at(at_ms, lambda: house.wire.to_daemon(lost, at_ms))
    house.at(at_ms, lambda: house.wire.to_daemon(back, at_ms + SECOND_MS))


def _node_away(house: House, target: Target) -> None:
    house.at(target.before_ms, lambda: _absent(house, target, 6 * HOUR_MS))


def _absent(house: House, target: Target, span_ms: int) -> None:
    house.nodes[target.node].absent_until_ms = house.times.t_ms + span_ms
    house.after(span_ms, lambda: house.look_closely(MENDED_MS))


def _hangs_in_run(house: House, target: Target) -> None:
    """It neither looks nor speaks; its hardware still ends the run at the cut."""
    middle_ms = target.middle_ms
    house.at(middle_ms, lambda: _absent(house, target, HOUR_MS))


def deaf(word: str, span_ms: int) -> Strike:
    """Nothing of a kind arrives for a while."""
    return partial(_deaf, word, span_ms)


def _deaf(word: str, span_ms: int, house: House, target: Target) -> None:
    at_ms = target.before_ms
    house.at(at_ms, lambda: house.wire.deaf.add(word))
    house.at(at_ms + span_ms, lambda: house.wire.deaf.discard(word))


def _late_results(house: House, target: Target) -> None:
    at_ms = target.before_ms
    house.at(at_ms, lambda: _delay(house, 40 * MINUTE_MS))
    house.at(at_ms + 3 * HOUR_MS, lambda: _delay(house, 0))


def _delay(house: House, span_ms: int) -> None:
    house.wire.late_ms = span_ms


def gives(factor: float) -> Strike:
    """The hose gives so many times what it should, from this dose on."""
    return partial(_gives, factor)


def _gives(factor: float, house: House, target: Target) -> None:
    head = house.nodes[target.node].heads[target.channel]
    house.at(target.before_ms, lambda: setattr(head, "factor", factor))


def reboots_in_run(house: House, target: Target) -> None:
    """The node loses power in the middle of its run."""
    house.at(target.middle_ms, lambda: _power_up(house, target))


def _power_up(house: House, target: Target) -> None:
    house.nodes[target.node].power_up(house.times.t_ms)
    house.look_closely(MENDED_MS)


def _other_limits(house: House, target: Target) -> None:
    node = house.nodes[target.node]
    house.at(target.before_ms, lambda: setattr(node, "cfg", "11111111"))


def second_daemon(house: House, target: Target) -> None:
    """A daemon with a higher fence has commanded the node."""
    node = house.nodes[target.node]
    higher = house.state.fence + 1_000
    house.at(target.before_ms, lambda: setattr(node, "fence", higher))


def _number_goes_back(house: House, target: Target) -> None:
    head = house.nodes[target.node].heads[target.channel]
    house.at(target.before_ms, lambda: setattr(head, "n", max(head.n - 1, 0)))


def _forged_result(house: House, target: Target) -> None:
    at_ms = target.before_ms
    forged = Result(
        node=target.node,
        id=STRAY,
        boot=house.nodes[target.node].boot,
        channel=target.channel,
        n=1,
        phase="ended",
        ran_ms=10,
        ul=10,
        reason="complete",
        cal="00000000",
        up=house.nodes[target.node].up_ms(at_ms),
    )
    house.at(at_ms, lambda: house.wire.to_daemon(forged, at_ms))


def held_at_device(house: House, target: Target) -> None:
    """Somebody puts the hold flag on the node in the middle of a run."""
    node = house.nodes[target.node]
    middle_ms = target.middle_ms
    house.at(middle_ms, lambda: _hold(house, target, held=True))
    house.at(middle_ms + HOUR_MS, lambda: setattr(node, "hold", False))


def _hold(house: House, target: Target, *, held: bool) -> None:
    node = house.nodes[target.node]
    node.hold = held
    for result in node.stop("", house.times.t_ms):
        house.wire.to_daemon(result, house.times.t_ms + WIRE_MS)


def _budget_used_up(house: House, target: Target) -> None:
    node = house.nodes[target.node]
    head = node.heads[target.channel]
    hour = node.up_ms(target.before_ms) // SLOT_MS
    used = {hour: head.day_limit_ul}
    house.at(target.before_ms, lambda: setattr(head, "slots", used))


_ABSENT = frozenset({Code.NODE_ABSENT})
_IMPOSSIBLE = frozenset({Code.NODE_IMPOSSIBLE})

WIRE_CASES: tuple[Case, ...] = (
    Case(
        id="broker-gone",
        group="B",
        hazards=("H10", "H14"),
        title="The broker is gone for two hours",
        strike=broker_away(2 * HOUR_MS),
        expects=frozenset({Code.LINK_DOWN}),
        about=("broker", "missing"),
    ),
    Case(
        id="link-lost-in-run",
        group="B",
        hazards=("H17",),
        title="The link is lost in the middle of a run",
        strike=_link_lost_in_run,
        expects=frozenset({Code.LINK_DOWN}),
        begins_s=0.0,
    ),
    Case(
        id="command-doubled",
        group="B",
        hazards=("H11",),
        title="A command arrives three times",
        strike=doubled,
        begins_s=0.0,
    ),
    Case(
        id="command-late",
        group="B",
        hazards=("H12",),
        title="A command arrives after its deadline",
        strike=_late_command,
        begins_s=0.0,
    ),
    Case(
        id="command-retained",
        group="B",
        hazards=("H13",),
        title="A retained command lies on the broker",
        strike=_retained,
        expects=frozenset({Code.RETAINED_COMMAND}),
        about=("broker", "retained command"),
    ),
    Case(
        id="taken-over",
        group="B",
        hazards=("H25",),
        title="Another client takes over the connection",
        strike=_taken_over,
        expects=frozenset({Code.TAKEN_OVER}),
        about=("broker", "taken over"),
    ),
)

NODE_CASES: tuple[Case, ...] = (
    Case(
        id="node-away",
        group="C",
        hazards=("H15",),
        title="The pump node is away for six hours",
        strike=_node_away,
        expects=_ABSENT,
        about=("node", "stale"),
    ),
    Case(
        id="node-hangs",
        group="C",
        hazards=("H21",),
        title="The pump node hangs in the middle of a run, for an hour",
        strike=_hangs_in_run,
        expects=_ABSENT,
        begins_s=0.0,
    ),
    Case(
        id="node-reboots",
        group="C",
        hazards=("H23",),
        title="The pump node loses power in the middle of a run",
        strike=reboots_in_run,
        expects=frozenset({Code.NODE_SETTLING}),
        about=("node", "has just started"),
        begins_s=0.0,
    ),
    Case(
        id="results-lost",
        group="C",
        hazards=("H18",),
        title="Every result is lost for a day",
        strike=deaf("result", DAY_MS),
        begins_s=0.0,
    ),
    Case(
        id="results-late",
        group="C",
        hazards=("H18",),
        title="Results come forty minutes late",
        strike=_late_results,
        begins_s=0.0,
    ),
    Case(
        id="beats-lost",
        group="C",
        hazards=("H15", "H18"),
        title="No beat arrives for half an hour",
        strike=deaf("beat", 30 * MINUTE_MS),
        expects=_ABSENT,
        about=("node", "missing"),
    ),
    Case(
        id="gives-too-much",
        group="C",
        hazards=("H20",),
        title="A pump gives half as much again",
        strike=gives(1.5),
        expects=frozenset({Code.OVER_DELIVERED}),
        about=("delivery", "too much"),
        begins_s=0.0,
    ),
    Case(
        id="gives-too-little",
        group="C",
        hazards=("H19", "H28"),
        title="A pump gives half of what it should",
        strike=gives(0.5),
        expects=frozenset({Code.SHORT_DELIVERED}),
        about=("delivery", "too little"),
        begins_s=0.0,
    ),
    Case(
        id="bottle-empty",
        group="H",
        hazards=("H58",),
        title="A bottle runs dry",
        strike=gives(0.0),
        expects=frozenset({Code.SHORT_DELIVERED}),
        about=("delivery", "nothing"),
        begins_s=0.0,
    ),
    Case(
        id="other-limits",
        group="C",
        hazards=("H24", "H26"),
        title="The node shows other limits than those that were approved",
        strike=_other_limits,
        expects=frozenset({Code.NODE_IDENTITY}),
        about=("node", "another device"),
    ),
    Case(
        id="second-daemon",
        group="C",
        hazards=("H25",),
        title="A second daemon commands the node",
        strike=second_daemon,
        expects=frozenset({Code.SECOND_DAEMON}),
        about=("daemon", "a second one"),
    ),
    Case(
        id="number-goes-back",
        group="C",
        hazards=("H27",),
        title="The node counts its runs backwards",
        strike=_number_goes_back,
        expects=_IMPOSSIBLE,
        about=("node", "impossible"),
    ),
    Case(
        id="held-at-device",
        group="C",
        hazards=("H17", "H59"),
        title="Somebody holds the node at the device in the middle of a run",
        strike=held_at_device,
        expects=frozenset({Code.NODE_HELD}),
        about=("node", "held"),
        begins_s=0.0,
    ),
    Case(
        id="budget-used-up",
        group="C",
        hazards=("H25",),
        title="The node's own budget of the day is used up",
        strike=_budget_used_up,
        expects=frozenset({Code.NODE_BUDGET}),
        about=("node", "budget used up"),
    ),
    Case(
        id="forged-result",
        group="I",
        hazards=("H60",),
        title="A result comes for a run nobody asked for",
        strike=_forged_result,
        expects=_IMPOSSIBLE,
        about=("node", "unknown run"),
    ),
)
