"""A daemon, a node and a network, small enough to try everything they can do.

Two doses on one pump head. Messages are lost, doubled, late and out of order; the
daemon crashes once, the node reboots once. The node is a model of the contract's
acceptance order; what the daemon concludes is decided by the real settle code.
Time is whole ticks; a `World` is a plain tuple throughout, so that it can be a key.
"""

from collections.abc import Iterator
from typing import NamedTuple

from tests.faults.real_settling import (
    IDLE,
    OPEN,
    SEALED,
    UNMADE,
    VOIDED,
    Command,
    Concluded,
    Known,
    Said,
    Shown,
    by_beat,
    by_result,
)

# Rules of the contract that can be taken out, to see that the search would tell.
RULES = ("boot", "number", "deadline", "sealing", "after-the-deadline", "refusal")

DOSES = 2
# How long a command may wait, how old a beat may be, and when silence is sealed.
WINDOW, FRESH, SILENCE = 2, 1, 2

Message = Command | Shown | Said
_ORDER = {Command: 0, Shown: 1, Said: 2}
_NAMES = {Command: "command", Shown: "beat", Said: "result"}


class Node(NamedTuple):
    """What a node holds in memory; `running`, `accepted`, `last` are doses, or -1."""

    boot: int = 0
    n: int = 0
    up: int = 0
    running: int = IDLE
    accepted: int = IDLE
    last: int = IDLE
    runs: int = 0


class Dose(NamedTuple):
    """What the ledger says of a dose, and since how many ticks it was meant."""

    word: str = UNMADE
    known: Known | None = None
    age: int = 0


class Heard(NamedTuple):
    """The newest beat the daemon heard, and how many ticks ago."""

    beat: Shown
    ago: int = 0


class World(NamedTuple):
    """Everything at one moment; `ran` is what really flowed, which nobody can see."""

    node: Node = Node()
    doses: tuple[Dose, ...] = (Dose(),) * DOSES
    heard: Heard | None = None
    wire: tuple[Message, ...] = ()
    ran: tuple[int, ...] = (0,) * DOSES
    held: bool = False
    reboots: int = 1
    crashes: int = 1
    copies: int = 1


class Bounds(NamedTuple):
    """How many messages may be under way and ticks pass; the rule that is taken out."""

    wire: int = 2
    ticks: int = 5
    without: str = ""


Step = tuple[str, World]


def steps(world: World, bounds: Bounds) -> Iterator[Step]:
    """Everything that can happen next, each with the world it leads to."""
    yield from _time(world, bounds)
    yield from _node(world, bounds)
    yield from _daemon(world, bounds)
    yield from _network(world, bounds)


def broken(world: World) -> str:
    """What a world breaks; empty for nothing."""
    for number, (dose, ran) in enumerate(zip(world.doses, world.ran, strict=True)):
        if ran > 1:
            return f"dose {number} ran {ran} times"
        if ran and dose.word == VOIDED:
            return f"dose {number} ran, and its charge was given back"
    return ""


def _time(world: World, bounds: Bounds) -> Iterator[Step]:
    node = world.node
    if node.up < bounds.ticks:
        yield "a tick", _ticked(world)
    if world.reboots:
        again = Node(boot=node.boot + 1)
        yield (
            "the node reboots",
            world._replace(node=again, reboots=world.reboots - 1),
        )
    if world.crashes:
        back = world._replace(heard=None, crashes=world.crashes - 1)
        yield "the daemon crashes and is back", back


def _ticked(world: World) -> World:
    node, heard = world.node, world.heard
    if heard is not None:
        heard = None if heard.ago >= FRESH else heard._replace(ago=heard.ago + 1)
    doses = tuple(
        one._replace(age=min(one.age + 1, SILENCE + 1)) if one.word == OPEN else one
        for one in world.doses
    )
    return world._replace(node=node._replace(up=node.up + 1), heard=heard, doses=doses)


def _node(world: World, bounds: Bounds) -> Iterator[Step]:
    node, has_room = world.node, len(world.wire) < bounds.wire
    if has_room:
        beat = Shown(node.boot, node.n, node.up, node.running, node.last, node.runs)
        yield "the node beats", _sent(world, beat)
    if node.running != IDLE:
        ended = node._replace(running=IDLE, last=node.running)
        done = world._replace(node=ended)
        yield "a run ends and nobody is told", done
        if has_room:
            yield "a run ends", _sent(done, Said(node.running, "ended", node.boot))


def _daemon(world: World, bounds: Bounds) -> Iterator[Step]:
    for number, dose in enumerate(world.doses):
        if dose.word == OPEN and dose.age > SILENCE:
            word = VOIDED if bounds.without == "sealing" else SEALED
            yield f"dose {number} met silence", _with(world, number, Dose(word=word))
    heard = world.heard
    number = next((k for k, one in enumerate(world.doses) if one.word == UNMADE), -1)
    is_busy = any(one.word == OPEN for one in world.doses)
    if heard is None or number < 0 or is_busy or world.held:
        return
    beat = heard.beat
    until = beat.up + heard.ago + WINDOW
    command = Command(number, beat.boot, beat.n, until, beat.runs)
    meant = _with(world, number, Dose(word=OPEN, known=Known(command)))
    yield f"dose {number} is meant and the daemon dies before it is sent", meant
    if len(world.wire) < bounds.wire:
        yield f"dose {number} is sent", _sent(meant, command)


def _network(world: World, bounds: Bounds) -> Iterator[Step]:
    for place, message in enumerate(world.wire):
        # Two that are alike lead to the same worlds.
        if place and world.wire[place - 1] == message:
            continue
        rest = world.wire[:place] + world.wire[place + 1 :]
        gone, name = world._replace(wire=rest), _NAMES[type(message)]
        yield f"a {name} is lost", gone
        yield f"a {name} arrives", _arrived(gone, message, bounds)
        if world.copies and not isinstance(message, Shown):
            copied = world._replace(copies=world.copies - 1)
            again = _arrived(copied, message, bounds)
            if len(again.wire) <= bounds.wire:
                yield f"a {name} arrives, and a copy is under way", again


def _arrived(world: World, message: Message, bounds: Bounds) -> World:
    if isinstance(message, Command):
        return _accepted(world, message, bounds)
    if isinstance(message, Shown):
        return _heard(world, message, bounds)
    return _told(world, message, bounds)


def _accepted(world: World, command: Command, bounds: Bounds) -> World:
    """The acceptance order of the contract, as far as one head needs it."""
    node = world.node
    if command.dose == node.accepted:
        return world
    flaws = {
        "boot": command.boot != node.boot,
        "number": command.n != node.n,
        "deadline": node.up > command.until,
        "busy": node.running != IDLE,
    }
    if any(wrong for rule, wrong in flaws.items() if rule != bounds.without):
        return _answered(world, Said(command.dose, "refused", node.boot), bounds)
    taken = node._replace(
        n=node.n + 1,
        running=command.dose,
        accepted=command.dose,
        runs=node.runs + 1,
    )
    ran = tuple(
        count + (number == command.dose) for number, count in enumerate(world.ran)
    )
    begun = world._replace(node=taken, ran=ran)
    return _answered(begun, Said(command.dose, "taken", node.boot), bounds)


def _answered(world: World, said: Said, bounds: Bounds) -> World:
    """With an answer under way, where there is room for one; else it is lost."""
    return _sent(world, said) if len(world.wire) < bounds.wire else world


def _heard(world: World, beat: Shown, bounds: Bounds) -> World:
    """A beat also without order: the daemon may take an old one for the newest."""
    world = world._replace(heard=Heard(beat))
    for number, dose in enumerate(world.doses):
        known = dose.known
        if dose.word != OPEN or known is None:
            continue
        found = by_beat(known, beat)
        is_same = (beat.boot, beat.n) == (known.command.boot, known.command.n)
        if bounds.without == "sealing" and beat.boot != known.command.boot:
            found = found._replace(word=VOIDED)
        if bounds.without == "after-the-deadline" and is_same:
            found = found._replace(word=VOIDED)
        world = _concluded(world, number, found)
    return world


def _told(world: World, said: Said, bounds: Bounds) -> World:
    dose = world.doses[said.dose]
    if dose.word != OPEN or dose.known is None:
        return world
    found = by_result(dose.known, said)
    if said.phase == "refused":
        known = dose.known._replace(refused=True)
        world = _with(world, said.dose, dose._replace(known=known))
        if bounds.without == "refusal":
            found = found._replace(word=VOIDED)
    return _concluded(world, said.dose, found)


def _concluded(world: World, number: int, found: Concluded) -> World:
    dose = world.doses[number]
    after = Dose(word=found.word)
    if found.word == OPEN and dose.known is not None:
        after = dose._replace(known=dose.known._replace(taken=found.taken))
    return _with(world, number, after)._replace(held=world.held or found.held)


def _with(world: World, number: int, dose: Dose) -> World:
    doses = world.doses
    return world._replace(doses=(*doses[:number], dose, *doses[number + 1 :]))


def _sent(world: World, message: Message) -> World:
    wire = sorted((*world.wire, message), key=_rank)
    return world._replace(wire=tuple(wire))


def _rank(message: Message) -> tuple[int, Message]:
    return _ORDER[type(message)], message
