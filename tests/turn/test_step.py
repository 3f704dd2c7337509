"""One step at a time: a virtual day, a lost node, a jump, an excursion."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from slackwater.facts.events import (
    AnyEvent,
    DoseHanded,
    DoseIntended,
    DoseMissed,
    HoldRaised,
    RequestHeard,
    ShotRequested,
)
from slackwater.facts.fold import fold_all
from slackwater.facts.messages import (
    Effect,
    Handed,
    Message,
    Reading,
    Request,
    Result,
    RunPump,
    StopPump,
)
from slackwater.facts.now import Mark, Now
from slackwater.facts.reasons import Code, because
from slackwater.facts.sight import Inbox, NodeSight, Sight, see
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.turn.setup import Setup, Turn, make_setup
from slackwater.turn.step import turn
from tests.gate.scene import APPROVAL, beat, dkh, machine, plan, probed

START = datetime(2026, 5, 3, 22, 0, tzinfo=UTC)
BOOT_S = 10_000.0


def roomy(base: Machine) -> Machine:
    """The scene's machine with a gap that two dozen doses of two lines leave."""
    return replace(base, timing=replace(base.timing, apart_gap_s=600.0))


class Bench:
    """A shell in miniature: clocks, a node that answers when it is asked."""

    def __init__(self, base: Machine) -> None:
        """Start at local midnight in Berlin with everything proven."""
        self.setup: Setup = make_setup(roomy(base), {1: (APPROVAL, plan())})
        self.state = State(fence=1, stage="live", decided_at=START)
        self.state.mark = Mark(
            utc=START, boot_s=BOOT_S, boot_id="boot", proven_ms=10**9
        )
        self.sight = Sight(started_boot_s=0.0, observe_up=True, actuate_up=True)
        self.sight.scanned_until = START - timedelta(seconds=1)
        self.utc = START
        self.jump_s = 0.0
        self.synchronised = True
        self.answers = True
        self.events: list[AnyEvent] = []
        self.done = Turn()
        self.numbers = {"a": 4, "b": 4}
        self.news: list[Message] = []

    def now(self) -> Now:
        """The clocks at this moment."""
        passed_s = (self.utc - START).total_seconds()
        return Now(
            utc=self.utc + timedelta(seconds=self.jump_s),
            boot_s=BOOT_S + passed_s,
            boot_id="boot",
            synchronised=self.synchronised,
        )

    def hear_beat(self) -> None:
        """A beat of this very moment with the true numbers."""
        now = self.now()
        channels = {
            name: replace(channel, n=self.numbers[name])
            for name, channel in beat().channels.items()
        }
        passed_ms = int((now.boot_s - BOOT_S) * 1000)
        heard = replace(
            beat(), heard_boot_s=now.boot_s, up=3_600_000 + passed_ms, channels=channels
        )
        self.sight.nodes["shelf"] = NodeSight(
            beat=heard, first_heard_boot_s=0.0, beats=99
        )

    def effects_now(self) -> list[Effect]:
        """What a turn without news would do."""
        done = turn(self.now(), self.state, Inbox(sight=self.sight), self.setup)
        return list(done.effects)

    def step(self) -> list[AnyEvent]:
        """One turn with what is in the inbox; folds, acts, answers."""
        news, self.news = tuple(self.news), []
        for message in news:
            see(self.sight, message)
        done = turn(
            self.now(), self.state, Inbox(sight=self.sight, messages=news), self.setup
        )
        fold_all(self.state, done.events)
        self.events.extend(done.events)
        self.done = done
        self.sight.scanned_until = done.scanned_until
        self.sight.previous = self.now()
        for effect in done.effects:
            if isinstance(effect, RunPump):
                self._execute(effect)
        return list(done.events)

    def _execute(self, command: RunPump) -> None:
        self.numbers[command.channel] += 1
        if self.answers:
            self.news.append(
                Result(
                    node="shelf",
                    id=command.attempt,
                    boot=command.boot,
                    channel=command.channel,
                    n=command.n,
                    phase="ended",
                    ran_ms=command.ms,
                    ul=command.ul,
                    reason="complete",
                    cal=command.cal,
                    up=0,
                )
            )

    def run_until(self, end: datetime) -> None:
        """Steps of a minute, each until nothing more happens."""
        while self.utc < end:
            self.hear_beat()
            while self.step() or self.news:
                pass
            self.utc += timedelta(minutes=1)

    def intents(self) -> Iterator[DoseIntended]:
        """Every intent so far."""
        return (event for event in self.events if isinstance(event, DoseIntended))


def test_a_day_of_the_plan_is_given_exactly_once() -> None:
    """24 doses of two pumps, 48 000 µL each, no identity twice, none missed."""
    bench = Bench(machine())
    bench.run_until(START + timedelta(hours=24))
    given = list(bench.intents())
    assert 48 == len({intent.dose.id for intent in given}) == len(given)
    assert {"carbonate": 48_000, "calcium": 48_000} == {
        pump: sum(i.command.ul for i in given if i.dose.pump == pump)
        for pump in ("carbonate", "calcium")
    }
    assert {} == bench.state.open


def test_a_turn_leaves_state_and_sight_as_found() -> None:
    """The same inputs give the same turn twice, byte for byte."""
    bench = Bench(machine())
    bench.hear_beat()
    inbox = Inbox(sight=bench.sight)
    first = turn(bench.now(), bench.state, inbox, bench.setup)
    assert repr(first) == repr(turn(bench.now(), bench.state, inbox, bench.setup))
    assert [] == list(bench.state.open)


def test_i4_an_outage_is_missed_and_never_caught_up() -> None:
    """Six hours without the daemon: twelve doses missed, the next on time."""
    bench = Bench(machine())
    bench.utc = START + timedelta(hours=6, minutes=30)
    bench.run_until(START + timedelta(hours=7, minutes=30))
    missed = [event for event in bench.events if isinstance(event, DoseMissed)]
    assert len(missed) >= 12
    assert all(START + timedelta(hours=6) <= i.dose.latest_at for i in bench.intents())
    assert all(i.at >= i.dose.due_at for i in bench.intents())
    assert len(list(bench.intents())) <= 4


def test_h18_lost_results_never_lead_to_a_second_attempt() -> None:
    """A node that never reports: each dose runs once, learned from its beats."""
    bench = Bench(machine())
    bench.answers = False
    bench.run_until(START + timedelta(hours=6))
    assert [] == [e for e in bench.events if e.kind == "dose_voided"]
    runs = sum(bench.numbers.values()) - 8
    assert runs == len({intent.dose.id for intent in bench.intents()})


def test_h37_a_clock_step_holds_until_a_person_looks() -> None:
    """Three seconds of wall clock too many: nothing more is decided."""
    bench = Bench(machine())
    bench.run_until(START + timedelta(hours=1))
    before = len(list(bench.intents()))
    bench.jump_s = 3.0
    bench.run_until(START + timedelta(hours=3))
    assert Code.CLOCK_JUMPED in bench.state.holds
    assert before == len(list(bench.intents()))


def test_h51_one_reading_above_the_ceiling_stops_both_lines_of_the_group() -> None:
    """9.8 dKH against a ceiling of 9.7: held at once, readings keep coming."""
    bench = Bench(probed())
    high = Reading(
        tank="reef", probe="kh", parameter="alkalinity", value=dkh(9.8), at=START
    )
    bench.news.append(high)
    bench.run_until(START + timedelta(hours=2))
    assert ["alkalinity-ceiling/reef"] == list(bench.state.holds)
    assert [] == list(bench.intents())


def test_i6_a_request_pauses_once_and_ends_by_itself() -> None:
    """Thirty minutes from afar; the same request again changes nothing."""
    bench = Bench(machine())
    pause = Request(tank="reef", id="r1", act="pause", minutes=30)
    bench.news.extend([pause, pause])
    bench.run_until(START + timedelta(minutes=29))
    assert ["pause/reef:r1"] == list(bench.state.holds)
    assert [] == list(bench.intents())
    bench.run_until(START + timedelta(hours=3))
    assert [] == list(bench.state.holds)
    assert list(bench.intents())
    assert date(2026, 5, 4) == next(bench.intents()).local_day


def test_i6_a_stop_from_afar_reaches_every_pump_of_the_tank() -> None:
    """Two heads, two stops, one entry; a stop needs nothing else to be proven."""
    bench = Bench(machine())
    bench.sight.observe_up = False
    stop = Request(tank="reef", id="r2", act="stop")
    done = turn(
        bench.now(),
        bench.state,
        Inbox(sight=bench.sight, messages=(stop,)),
        bench.setup,
    )
    assert [StopPump(node="shelf", channel=head) for head in "ba"] == sorted(
        done.effects, key=str, reverse=True
    )
    assert ["request_heard"] == [event.kind for event in done.events]


def test_what_names_nothing_is_put_on_record_each_time() -> None:
    """Two wishes in one turn that nobody gave a name; with one they are the same."""
    bench = Bench(machine())
    nameless = Request(tank="reef", id="", act="report")
    named = replace(nameless, id="r3")
    bench.news.extend([nameless, nameless, named, named])
    assert ["", "", "r3"] == [
        event.request for event in bench.step() if isinstance(event, RequestHeard)
    ]


def test_i6_a_stop_from_afar_leaves_another_tank_alone() -> None:
    """A second tank hangs on the same node; its pump runs on."""
    base = machine()
    pond = replace(base.tanks["reef"], id="pond")
    moved = replace(base.pumps["calcium"], tank="pond")
    both = replace(
        base,
        tanks={**base.tanks, "pond": pond},
        pumps={**base.pumps, "calcium": moved},
    )
    first = replace(plan(), lines=plan().lines[:1], groups={})
    bench = Bench(machine())
    bench.setup = make_setup(both, {1: (APPROVAL, first)})
    for tank, channel in (("reef", "a"), ("pond", "b")):
        stop = Request(tank=tank, id=f"r-{tank}", act="stop")
        inbox = Inbox(sight=bench.sight, messages=(stop,))
        done = turn(bench.now(), bench.state, inbox, bench.setup)
        assert [StopPump(node="shelf", channel=channel)] == [
            effect for effect in done.effects if isinstance(effect, StopPump)
        ]


def test_a_hold_stops_the_run_of_a_pump_that_is_no_longer_there() -> None:
    """Nobody can say any more what reaches it: whatever holds anything does."""
    bench = Bench(machine())
    bench.answers = False
    bench.hear_beat()
    bench.step()
    (intent,) = bench.intents()
    base = machine()
    rest = {"calcium": base.pumps["calcium"]}
    other = replace(plan(), lines=plan().lines[1:], groups={})
    bench.setup = make_setup(replace(base, pumps=rest), {2: (APPROVAL, other)})
    here = StopPump(node="shelf", channel=intent.command.channel)
    assert here not in bench.effects_now()
    bench.state.holds["h"] = HoldRaised(
        at=START,
        boot_s=BOOT_S,
        proven_ms=10**9,
        hold_id="h",
        scope="all",
        reason=because(Code.MANUAL_HOLD),
        latched=True,
    )
    assert here in bench.effects_now()


def test_a_message_that_was_handed_over_after_its_end_says_nothing() -> None:
    """While the attempt is open it is on record, afterwards no more."""
    bench = Bench(machine())
    bench.answers = False
    bench.hear_beat()
    bench.step()
    (intent,) = bench.intents()
    handed = Handed(attempt=intent.command.attempt)
    bench.news.append(handed)
    assert [handed.attempt] == [
        event.attempt for event in bench.step() if isinstance(event, DoseHanded)
    ]
    bench.state.open.clear()
    bench.news.append(handed)
    assert [] == [event for event in bench.step() if isinstance(event, DoseHanded)]


def test_a_calibration_shot_runs_outside_the_water_accounts() -> None:
    """A local request gives one run, charged to its own small cap and no other."""
    bench = Bench(machine())
    bench.utc = START - timedelta(minutes=30)
    bench.sight.scanned_until = bench.utc
    bench.state.requests["shot-1"] = shot(bench.utc + timedelta(minutes=20))
    bench.run_until(START - timedelta(minutes=25))
    assert ["shot-1"] == [intent.dose.id for intent in bench.intents()]
    assert {"calibrate/carbonate"} == set(bench.state.charges)
    assert {} == bench.state.requests


def test_a_shot_that_nobody_carried_out_expires() -> None:
    """After its time it is missed with the reason, and never run."""
    bench = Bench(machine())
    bench.state.requests["shot-1"] = shot(START - timedelta(seconds=1))
    bench.hear_beat()
    missed = [e for e in bench.step() if isinstance(e, DoseMissed)]
    assert [Code.REQUEST_EXPIRED] == [e.reasons[0].code for e in missed]


def shot(end: datetime) -> ShotRequested:
    """2 mL of carbonate into a cylinder."""
    return ShotRequested(
        at=START - timedelta(minutes=30),
        boot_s=BOOT_S,
        proven_ms=10**9,
        request="shot-1",
        pump="carbonate",
        volume_ul=2000,
        until=end,
        by="keeper",
    )


def test_a_withdrawn_approval_stops_what_runs_under_it() -> None:
    """What runs under serial 1 is stopped once 1 is withdrawn, each turn again."""
    bench = Bench(machine())
    bench.answers = False
    bench.hear_beat()
    bench.step()
    bench.state.withdrawn = [1]
    done = turn(bench.now(), bench.state, Inbox(sight=bench.sight), bench.setup)
    assert StopPump(node="shelf", channel="a") in done.effects
