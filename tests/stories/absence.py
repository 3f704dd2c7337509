"""A house that nobody enters for ten days, and what happens in it meanwhile.

The corals take up in proportion to the alkalinity above 3 dKH, as in the way back after
a gap (a model, not a measurement): with the base of four fifths they settle at 7 dKH.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from slackwater.facts.events import AnyEvent, PlanApproved
from slackwater.facts.messages import LinkChanged, SpoiledReading
from slackwater.facts.safeguards import (
    AwayDeclared,
    BypassGranted,
    ProbeTakenOut,
    ReservoirFilled,
)
from slackwater.facts.state import State
from slackwater.facts.waters import HusbandryNoted, MeasurementKept, TaskSet
from slackwater.pump.outcome import Stamp
from tests.gate.scene import dkh
from tests.stories.stage import MINUTE_MS, Stage
from tests.stories.story import Story

HOUR_MS, DAY_MS = 60 * MINUTE_MS, 24 * 60 * MINUTE_MS
DAYS = 10
DOSES = 12
# 40 mL of the carbonate of the stories lift their tank by 1 dKH.
ML_PER_DKH = 40
AIM_DKH = 8.0
# What happens first happens at six in the morning of the first day.
SIX_MS = 6 * HOUR_MS


class Absent(Stage):
    """A house that nobody enters for ten days; `sticks`: its probe stands still."""

    sticks: bool

    def __init__(
        self, uptake: float, true: float, folder: Path, doses: int = DOSES
    ) -> None:
        """A plan that gives what the tank should take up; `true` is what it does."""
        self.sticks = False
        super().__init__(_story(uptake, true, doses), folder)

    def at(self, day: float, what: Callable[["Absent"], None]) -> None:
        """Let something happen so many days after the first morning at six."""
        begin_ms = self.times.true_ms(self.begins)
        self.after(begin_ms + SIX_MS + round(day * DAY_MS), partial(what, self))

    def write(self, make: Callable[[Stamp], AnyEvent]) -> None:
        """An entry of the last person who was there, or of the clock's own."""
        self.book.sign(lambda _state, stamp: make(stamp))

    def _read(self) -> None:
        if self.sticks:
            self.number = -1
        super()._read()


def _story(uptake: float, true: float, doses: int) -> Story:
    per_day = f"{uptake * ML_PER_DKH:g} mL"
    pump = {
        "most_per_dose": "12 mL",
        "most_per_day": "150 mL",
    }
    line = {"per_day": per_day, "doses": doses}
    calcium = {"gross": "30 mg/L/day", "net_rise": "30 mg/L/day"}
    return Story(
        name="unattended",
        tells="",
        begins=datetime(2026, 5, 3),  # noqa: DTZ001 -- wall time at the tank
        lasts=timedelta(days=DAYS),
        overlay={
            "machine": {
                "tank": {
                    "reef": {
                        "caps": {
                            "alkalinity": {
                                "gross": "4.0 dKH/day",
                                "net_rise": "0.5 dKH/day",
                            },
                            "calcium": calcium,
                        },
                        "uptake": {
                            "alkalinity": {
                                "estimate": f"{uptake:g} dKH/day",
                                "low": f"{uptake - min(uptake / 10, 0.2):g} dKH/day",
                            }
                        },
                    }
                },
                "pump": {"carbonate": pump, "calcium": pump},
            },
            "plan": {"line": {"carbonate": line, "calcium": line}},
            "water": {"reef": {"uptake_dkh_per_day": true}},
        },
        without=(),
        happens=(),
        expect={"alkalinity_dkh": {"never_below": 6.0, "never_above": 10.0}},
    )


# Expiries.


def approval_ends(house: Absent) -> None:
    """Two days later it has expired; upkeep goes on as approved for a while."""

    def again(state: State, stamp: Stamp) -> AnyEvent:
        newest = state.approvals[-1]
        ends = stamp["at"] + timedelta(days=2)
        approval = replace(
            newest.approval,
            serial=state.last_serial + 1,
            takes_over_at=stamp["at"],
            expires_at=ends,
            grace_until=ends + timedelta(days=14),
        )
        return PlanApproved(
            **stamp,
            approval=approval,
            machine=newest.machine,
            plan=newest.plan,
            files=newest.files,
        )

    house.book.sign(again)


def papers_end(house: Absent) -> None:
    """A bottle outlives its keeping time, a task is overdue, a treatment ends."""
    for name in house.home.machine.reservoirs:
        house.write(
            lambda stamp, name=name: ReservoirFilled(  # type: ignore[misc]  # each its own
                **stamp,
                reservoir=name,
                content_ul=5_000_000,
                mixed_at=stamp["at"] - timedelta(days=400),
                by="keeper",
            )
        )
    house.write(
        lambda stamp: TaskSet(
            **stamp,
            task="t-1",
            tank="reef",
            remedy="retest",
            parameter="calcium",
            text="Test calcium.",
            due_on=stamp["at"].date() + timedelta(days=1),
            by="keeper",
        )
    )
    house.write(
        lambda stamp: HusbandryNoted(
            **stamp,
            id="h-1",
            tank="reef",
            what="treatment",
            happened_at=stamp["at"],
            by="keeper",
            until=stamp["at"] + timedelta(days=3),
        )
    )


def guards_come_back(house: Absent) -> None:
    """A bypass ends, and a probe out of service outlives the test in its place."""
    house.swim.silent = True
    house.write(
        lambda stamp: MeasurementKept(
            **stamp,
            id="m-1",
            tank="reef",
            parameter="alkalinity",
            value=dkh(AIM_DKH),
            typed="8 dKH",
            taken_at=stamp["at"],
            provenance="hand",
            by="keeper",
        )
    )
    house.write(
        lambda stamp: ProbeTakenOut(
            **stamp, probe="kh", until=stamp["at"] + timedelta(days=9), by="keeper"
        )
    )
    house.write(
        lambda stamp: BypassGranted(
            **stamp,
            interlock="alkalinity-ceiling",
            scope="tank/reef",
            until=stamp["at"] + timedelta(hours=4),
            why="test",
            by="keeper",
        )
    )


# Probes.


def probe_dies(house: Absent) -> None:
    """It says nothing any more."""
    house.swim.silent = True


def probe_sticks(house: Absent) -> None:
    """It says the same for ever."""
    house.sticks, house.shown_dkh = True, AIM_DKH


def probe_shows_too_little(house: Absent) -> None:
    """It believes that there is hardly any alkalinity."""
    house.shown_dkh = 4.5


def probe_babbles(house: Absent) -> None:
    """What it says has another unit, four times an hour."""
    house.swim.silent = True
    spoiled = SpoiledReading(tank="reef", probe="kh", why="unit changed")
    house.bus.surely(spoiled, house.times.t_ms + 5)
    house.after(15 * MINUTE_MS, partial(probe_babbles, house))


def probe_speaks_now_and_then(house: Absent) -> None:
    """An hour of readings, five without, and again."""
    house.swim.silent = not house.swim.silent
    span_ms = (5 if house.swim.silent else 1) * HOUR_MS
    house.after(span_ms, partial(probe_speaks_now_and_then, house))


# Network.


def night_without_broker(hours: float) -> Callable[[Absent], None]:
    """The broker is gone from ten in the evening on."""

    def begins(house: Absent) -> None:
        now_ms = house.times.t_ms
        end_ms = now_ms + round(hours * HOUR_MS)
        house.bus.down_until_ms = end_ms
        for link in ("observe", "actuate"):
            lost = LinkChanged(link=link, up=False)
            back = LinkChanged(link=link, up=True)
            house.bus.surely(lost, now_ms + 5)
            house.bus.surely(back, end_ms + 100)

    return begins


def node_is_gone(house: Absent) -> None:
    """A node without power for a night; it starts with no room of its own."""
    post = house.posts["shelf"]
    # It says nothing more of its old life: the new one begins before it could.
    post.hang(house.times.t_ms + 11 * HOUR_MS)
    house.after(10 * HOUR_MS, lambda: post.power_up(house.times.t_ms))


def daemon_is_gone(house: Absent) -> None:
    """The machine of the daemon has no power for a night."""
    house.kill(10 * HOUR_MS)


# Holidays.


def away(house: Absent) -> None:
    """Somebody said that nobody will be there."""
    house.write(
        lambda stamp: AwayDeclared(
            **stamp,
            from_at=stamp["at"],
            until=stamp["at"] + timedelta(days=DAYS),
            by="keeper",
        )
    )


EVENING = 16 / 24
Happens = tuple[tuple[float, Callable[[Absent], None]], ...]
SCENARIOS: dict[str, Happens] = {
    "nobody comes": (),
    "the approval expires": ((0, approval_ends),),
    "bottles and tasks run out": ((0, papers_end),),
    "guards left aside come back": ((0, guards_come_back),),
    "the probe dies": ((0, probe_dies),),
    "the probe stands still": ((0, probe_sticks),),
    "the probe shows too little": ((0, probe_shows_too_little),),
    "the probe talks nonsense": ((0, probe_babbles),),
    "the probe speaks now and then": ((0, probe_speaks_now_and_then),),
    "a night without network": ((EVENING, night_without_broker(10)),),
    "an hour without network each night": tuple(
        (day + EVENING, night_without_broker(1)) for day in range(DAYS - 1)
    ),
    "a night without the node": ((EVENING, node_is_gone),),
    "a night without the daemon": ((EVENING, daemon_is_gone),),
    "a holiday": ((0, away),),
    "a holiday, and the probe dies": ((0, away), (1, probe_dies)),
    "a holiday on which all of it happens": (
        (0, away),
        (0.1, approval_ends),
        (0.2, papers_end),
        (1, probe_dies),
        (2 + EVENING, night_without_broker(10)),
    ),
}
