"""Doses of a plan behind relays: the real turn, virtual relays, one virtual clock."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import pytest

from demo.reef.relay import Fault, VirtualRelay
from slackwater.facts.events import AnyEvent
from slackwater.facts.fold import fold_all
from slackwater.facts.messages import Message, RelaySeen, RunPump, StopPump
from slackwater.facts.now import Mark, Now
from slackwater.facts.plan import Approval
from slackwater.facts.sight import Inbox, Sight, see
from slackwater.facts.state import State
from slackwater.outside.settings import read_machine, read_plan
from slackwater.rehearsal.relays import tried_out
from slackwater.service.relaying import RelayLink, Relays, heads_of
from slackwater.turn.setup import make_setup
from slackwater.turn.step import turn
from tests.cli.run_program import CONFIG

MACHINE = read_machine(CONFIG / "relays")
PLAN = read_plan(CONFIG / "relays", MACHINE)
# A moment before a dose of carbonate, long after the last one of calcium.
BEGIN = datetime(2026, 5, 4, 19, 58, tzinfo=UTC)
BEGIN_S = 100_000.0
A_YEAR = timedelta(days=365)
NODES = {"workshop/relay-3": "plug", "workshop/relay-4": "timer"}


@dataclass(slots=True, kw_only=True)
class House:
    """The daemon's decisions, its relays, and the relays themselves."""

    faults: frozenset[Fault] = frozenset()
    now_s: float = BEGIN_S
    events: list[AnyEvent] = field(default_factory=list)
    waiting: list[Message] = field(default_factory=list)
    devices: dict[str, VirtualRelay] = field(init=False)
    relays: Relays = field(init=False)
    link: RelayLink = field(init=False)
    state: State = field(init=False)
    sight: Sight = field(init=False)

    def __post_init__(self) -> None:
        self.devices = {
            "workshop/relay-3": VirtualRelay(ceiling_ms=10_000, faults=self.faults),
            "workshop/relay-4": VirtualRelay(ceiling_ms=6_000, always_ms=6_000),
        }
        before = BEGIN - timedelta(days=1)
        self.state = State(ledger_id="one", fence=1, stage="live", decided_at=before)
        self.state.running = True
        self.state.relay_checks = tried_out(MACHINE, before, BEGIN + A_YEAR)
        self.state.mark = Mark(
            utc=BEGIN, boot_s=BEGIN_S, boot_id="boot", proven_ms=90_000_000
        )
        self.sight = Sight(started_boot_s=0.0, observe_up=True, actuate_up=True)
        heads = heads_of(MACHINE, self.state, self.now_s)
        self.relays = Relays(heads=heads, clock=self, asks=self, commands=self)
        self.link = RelayLink(self, self.relays)
        approval = Approval(
            serial=1,
            digest="",
            takes_over_at=BEGIN - timedelta(days=1),
            expires_at=BEGIN + A_YEAR,
            by="keeper",
            highest_daily_ul=72_000,
        )
        self._setup = make_setup(MACHINE, {1: (approval, PLAN)})

    _setup: object = None

    def now(self) -> Now:
        """This moment of the virtual clock."""
        utc = BEGIN + timedelta(seconds=self.now_s - BEGIN_S)
        return Now(utc=utc, boot_s=self.now_s, boot_id="boot", synchronised=True)

    def ask(self, topic: str, payload: bytes) -> None:
        """Ask a relay."""
        del payload
        place = topic.rpartition("/")[0]
        self._hear(place, self.devices[place].ask(self._ms()))

    def post(self, topic: str, payload: bytes, mark: str = "") -> bool:
        """Tell a relay."""
        del mark
        place = topic.rpartition("/")[0]
        self._hear(place, self.devices[place].hear(payload, self._ms()))
        return True

    def run(self, command: RunPump) -> bool:
        """No node is here."""
        raise AssertionError(command)

    def stop(self, command: StopPump) -> None:
        """No node is here."""
        raise AssertionError(command)

    def close(self) -> None:
        """Nothing is open."""

    def live(self, until: Callable[[], bool]) -> None:
        """Let time pass in steps of a quarter second, an hour and a half at most."""
        for _ in range(4 * 5_400):
            if until():
                return
            self.now_s += 0.25
            for place, device in self.devices.items():
                self._hear(place, device.advance(self._ms()))
            waiting, self.waiting = self.waiting, []
            self._step(self.relays.heard(waiting))
        message = f"waited in vain; {[event.kind for event in self.events]}"
        raise AssertionError(message)

    def kinds(self) -> list[str]:
        """What was written down."""
        return [event.kind for event in self.events]

    def _step(self, messages: tuple[Message, ...]) -> None:
        for message in messages:
            see(self.sight, message)
        for _ in range(50):
            inbox = Inbox(sight=self.sight, messages=messages)
            done = turn(self.now(), self.state, inbox, self._setup)  # type: ignore[arg-type]  # made above
            fold_all(self.state, done.events)
            self.events += done.events
            self.sight.scanned_until = done.scanned_until
            for effect in done.effects:
                if isinstance(effect, RunPump):
                    self.link.run(effect)
                elif isinstance(effect, StopPump):
                    self.link.stop(effect)
            if not done.events and not messages:
                break
            messages = ()
        self.sight.previous = self.now()

    def _hear(self, place: str, told: list[bytes]) -> None:
        for payload in told:
            is_on = payload in {b'{"on": true}', b"on"}
            word = RelaySeen(node=NODES[place], is_on=is_on, heard_boot_s=self.now_s)
            self.waiting.append(word)

    def _ms(self) -> int:
        return round(self.now_s * 1000)


def _first(house: House, kind: str) -> AnyEvent:
    return next(event for event in house.events if event.kind == kind)


def test_a_dose_behind_a_relay_is_intended_taken_and_ended() -> None:
    """As behind a node: charged first, then told once, then what was seen."""
    house = House()
    house.live(lambda: "dose_ended" in house.kinds())
    kinds = [kind for kind in house.kinds() if kind.startswith("dose_")]
    assert ["dose_intended", "dose_taken", "dose_ended"] == kinds[-3:]
    ended = _first(house, "dose_ended")
    assert ("full", 3_000) == (
        getattr(ended, "how", ""),
        getattr(ended, "charge_ul", 0),
    )
    on_ms = house.devices["workshop/relay-3"].on_ms(round(house.now_s * 1000))
    assert 6_000 == on_ms


def test_a_relay_that_sticks_latches_within_two_seconds_and_is_stopped() -> None:
    """Found, told to be off again and again, and nothing more behind it."""
    house = House(faults=frozenset({"stuck-on"}))
    house.live(lambda: "hold_raised" in house.kinds())
    intent, held = _first(house, "dose_intended"), _first(house, "hold_raised")
    late_s = held.boot_s - intent.boot_s - 6.0
    assert late_s <= 2.0 + 0.25, "a step of this clock is a quarter second"
    assert "node-impossible/plug" == getattr(held, "hold_id", "")
    house.devices["workshop/relay-3"].faults = frozenset()
    house.live(lambda: "dose_ended" in house.kinds())
    ended = _first(house, "dose_ended")
    assert getattr(ended, "charge_ul", 0) > 3_000


@pytest.mark.parametrize("fault", ["double-pulse", "lost-state"])
def test_other_faults_latch_and_keep_the_cap_of_a_dose(fault: Fault) -> None:
    """Twice on, or silent: held, and never more than the file's cap of one dose."""
    house = House()
    house.live(lambda: "dose_intended" in house.kinds() or _soon(house, fault))
    house.devices["workshop/relay-3"].faults = frozenset({fault})
    house.live(lambda: "hold_raised" in house.kinds())
    house.live(_seconds_from(house, 60))
    on_ms = house.devices["workshop/relay-3"].on_ms(round(house.now_s * 1000))
    # 30 mL/min for that time, against 6 mL, `most_per_dose` of the file.
    assert on_ms * 30_000 // 60_000 <= 6_000


def _soon(house: House, fault: Fault) -> bool:
    """A relay that will pulse twice must be so before its first pulse."""
    return fault == "double-pulse" and house.now_s > BEGIN_S + 120


def _seconds_from(house: House, span_s: float) -> Callable[[], bool]:
    end_s = house.now_s + span_s
    return lambda: house.now_s >= end_s
