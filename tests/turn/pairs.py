"""An invented tank whose water two pumps exchange, with water that is counted."""

from dataclasses import replace
from datetime import date, datetime, timedelta

from slackwater.facts.exchanges import Exchange
from slackwater.facts.fold import fold
from slackwater.facts.messages import Result, RunPump
from slackwater.facts.plan import Plan, PlanLine, Window
from slackwater.facts.safeguards import LevelMeasured, ReservoirFilled
from slackwater.facts.sight import NodeSight, Sight
from slackwater.facts.tank import Machine, Node, Pump, Reservoir, Solution, Tank
from slackwater.ledger.codec import dump_state, load_state
from slackwater.turn.setup import make_setup
from tests.gate.scene import APPROVAL, beat, machine
from tests.turn.test_step import START, Bench

NET_UL = 300_000_000
PORTION_UL = 100_000
CONTENT_UL = 50_000_000
TEN, FOUR = 10 * 60, 16 * 60
PAIR = Exchange(id="water", tank="reef", drain="out", fill="in", settle_s=60.0)


def paired() -> Machine:
    """300 L, two pumps of 1 L a minute on one node, 50 L of water, room for 50 L."""
    return Machine(
        site="home",
        tanks={
            "reef": Tank(id="reef", name="", net_ul=NET_UL, zone="Europe/Berlin"),
        },
        solutions={
            name: Solution(id=name, name=name) for name in ("tank-water", "new-water")
        },
        reservoirs={
            name: Reservoir(id=name, content_ul=CONTENT_UL, low_ul=1_000_000)
            for name in ("waste", "canister")
        },
        nodes={"shelf": Node(id="shelf", day_limit_ul=10**7, cut_limit_ms=120_000)},
        pumps={
            "out": _pump("out", "a", "tank-water", "waste"),
            "in": _pump("in", "b", "new-water", "canister"),
        },
        exchanges={"water": PAIR},
    )


def _pump(name: str, channel: str, solution: str, reservoir: str) -> Pump:
    return Pump(
        id=name,
        tank="reef",
        node="shelf",
        channel=channel,
        solution=solution,
        reservoir=reservoir,
        rate_nl_per_s=16_666_667,
        smallest_dose_ul=10_000,
        per_dose_ul=300_000,
        per_day_ul=10_000_000,
    )


def lines(per_day_ul: int = 10 * PORTION_UL, count: int = 10) -> tuple[PlanLine, ...]:
    """Water out and water in from ten to four."""
    out = PlanLine(
        id="daily-out",
        tank="reef",
        solution="tank-water",
        pump="out",
        per_day_ul=per_day_ul,
        count=count,
        windows=(Window(start_minute=TEN, end_minute=FOUR),),
    )
    back = replace(out, id="daily-in", solution="new-water", pump="in")
    return (out, back)


def plan_of(*of: PlanLine) -> Plan:
    """A plan of these lines."""
    return Plan(name="test", starts=date(2026, 5, 3), lines=of)


class Pair(Bench):
    """A bench whose pumps give more or less than they report, and whose water is real.

    `factors` is what truly flows of what is reported, by channel; `moved_ul` the true
    sums; `short` the part of a run that is reported and flows, by channel.
    """

    def __init__(self, base: Machine | None = None, plan: Plan | None = None) -> None:
        """Midnight; the new water was tested and both containers were filled in."""
        super().__init__(machine())
        made = base or paired()
        self.setup = make_setup(made, {1: (APPROVAL, plan or plan_of(*lines()))})
        self.factors = {"a": 1.0, "b": 1.0}
        self.short = {"a": 1.0, "b": 1.0}
        self.moved_ul = {"a": 0.0, "b": 0.0}
        self.silent: set[str] = set()
        self.faulty: set[str] = set()
        self.lost = False
        self.pause_min = 4
        self.commands: list[RunPump] = []
        self.odo = {"a": 0, "b": 0}
        self.tell(self.filled("canister", lot="may-2", levels={"salinity": 35.0}))
        self.tell(self.filled("waste"))
        self.read_levels()

    def stamp(self) -> dict[str, object]:
        """The clocks as an entry carries them."""
        now = self.now()
        passed_ms = int((now.boot_s - 10_000.0) * 1000)
        return {"at": now.utc, "boot_s": now.boot_s, "proven_ms": 10**9 + passed_ms}

    def tell(self, event: object) -> None:
        """Fold what a person wrote down."""
        fold(self.state, event)  # type: ignore[arg-type]  # made below
        self.events.append(event)  # type: ignore[arg-type]  # made below

    def filled(self, reservoir: str, **more: object) -> ReservoirFilled:
        """A container filled to 50 L, or emptied to so much room."""
        return ReservoirFilled(
            **self.stamp(),  # type: ignore[arg-type]  # the three clocks
            reservoir=reservoir,
            content_ul=CONTENT_UL,
            mixed_at=self.utc,
            by="keeper",
            **more,  # type: ignore[arg-type]  # lot and levels
        )

    def measured(self, reservoir: str, volume_ul: int, within_ul: int) -> LevelMeasured:
        """A level as a person read it."""
        pump = {"waste": "out", "canister": "in"}[reservoir]
        return LevelMeasured(
            **self.stamp(),  # type: ignore[arg-type]  # the three clocks
            reservoir=reservoir,
            volume_ul=volume_ul,
            within_ul=within_ul,
            measured_at=self.utc,
            pumps=(pump,),
            by="keeper",
        )

    def read_levels(self, within_ul: int = 20_000) -> None:
        """Both containers as they truly are."""
        for reservoir, channel in (("waste", "a"), ("canister", "b")):
            left_ul = CONTENT_UL - round(self.moved_ul[channel])
            self.tell(self.measured(reservoir, left_ul, within_ul))

    def hear_beat(self) -> None:
        """A beat with the true numbers and all the budget there is."""
        super().hear_beat()
        seen = self.sight.nodes["shelf"]
        channels = {
            name: replace(
                channel,
                budget_ul=10**7,
                odo_ul=self.odo[name],
                state="fault" if name in self.faulty else channel.state,
            )
            for name, channel in seen.beat.channels.items()
        }
        boot = "0f3a" * 4 if self.lost else seen.beat.boot
        self.sight.nodes["shelf"] = NodeSight(
            beat=replace(seen.beat, channels=channels, boot=boot),
            first_heard_boot_s=0.0,
            beats=99,
        )

    def run_until(self, end: datetime) -> None:
        """Steps of some minutes while the plan exchanges, of hours by night."""
        while self.utc < end:
            self.hear_beat()
            while self.step() or self.news:
                pass
            pause_min = self.pause_min
            if not TEN <= self.minute < FOUR + 60:
                pause_min = min(3 * 60, (TEN - self.minute) % 1440)
            pause = timedelta(minutes=pause_min)
            self.utc = min(self.utc + pause, end)

    @property
    def minute(self) -> int:
        """Minutes since local midnight."""
        return int((self.utc - START).total_seconds() // 60) % 1440

    def _execute(self, command: RunPump) -> None:
        self.commands.append(command)
        self.numbers[command.channel] += 1
        ul = int(command.ul * self.short[command.channel])
        self.moved_ul[command.channel] += ul * self.factors[command.channel]
        self.odo[command.channel] += ul
        if command.channel in self.silent:
            return
        self.news.append(
            Result(
                node="shelf",
                id=command.attempt,
                boot=beat().boot,
                channel=command.channel,
                n=command.n,
                phase="ended",
                ran_ms=command.ms,
                ul=ul,
                reason="complete",
                cal=command.cal,
                up=0,
            )
        )

    def restart(self) -> None:
        """A daemon that knows its ledger and has heard nothing yet."""
        self.state = load_state(dump_state(self.state))
        self.news = []
        self.sight = Sight(
            started_boot_s=self.now().boot_s, observe_up=True, actuate_up=True
        )

    def given(self) -> list[tuple[str, int]]:
        """What was commanded, in order: channel and microlitres."""
        return [(command.channel, command.ul) for command in self.commands]

    def until(self, hour: float, day: int = 0) -> None:
        """Go on to a local hour of a day from the first one on."""
        self.run_until(START + timedelta(days=day, hours=hour))
