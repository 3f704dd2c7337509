"""A desk with one invented tank on it, looked at as often as a test likes."""

from dataclasses import replace
from datetime import timedelta

from slackwater.alarms.judging import Watch, judge
from slackwater.facts.alarms import AlarmChanged, AlarmEvent, AlarmRaised
from slackwater.facts.events import AnyEvent, HoldRaised, HoldReleased
from slackwater.facts.fold import fold
from slackwater.facts.messages import Reading
from slackwater.facts.reasons import Code, because
from slackwater.facts.tank import Machine
from slackwater.gate.moment import Moment
from slackwater.pump.outcome import Stamp
from tests.gate.scene import dkh, moment, probed

TARGET = 8.0


def aimed(base: Machine) -> Machine:
    """The scene's machine with a target of 8 dKH."""
    tank = replace(base.tanks["reef"], targets={"alkalinity": dkh(TARGET)})
    return replace(base, tanks={"reef": tank})


class Desk:
    """A moment that goes on; nodes are heard unless a test says otherwise."""

    def __init__(
        self, machine: Machine | None = None, reads: float | None = TARGET
    ) -> None:
        """Pumps are enabled and everything is proven."""
        self.moment: Moment = moment(aimed(machine or probed()))
        self.moment.state.stage = "live"
        self.watch = Watch()
        self.speaks = True
        self.reads = reads
        self.differ: tuple[str, ...] = ()
        self.events: list[AlarmEvent] = []
        self._read()

    @property
    def stamp(self) -> Stamp:
        """The clocks of this moment."""
        now = self.moment.now
        return {
            "at": now.utc,
            "boot_s": now.boot_s,
            "proven_ms": self.moment.proven_ms,
        }

    def fold(self, *events: AnyEvent) -> None:
        """Write entries."""
        for event in events:
            fold(self.moment.state, event)

    def hold(self, scope: str = "all", code: Code = Code.MANUAL_HOLD) -> None:
        """A hold stands from now on."""
        self.fold(
            HoldRaised(
                **self.stamp,
                hold_id=f"{code}/{scope}",
                scope=scope,
                reason=because(code),
                latched=True,
            )
        )

    def release(self) -> None:
        """A person ends every hold."""
        for name in list(self.moment.state.holds):
            self.fold(HoldReleased(**self.stamp, hold_id=name, by="keeper"))

    def look(self, after_s: float = 5.0) -> list[AlarmEvent]:
        """Let time pass and look once; what follows is written."""
        now = self.moment.now
        self.moment = replace(
            self.moment,
            now=replace(
                now,
                utc=now.utc + timedelta(seconds=after_s),
                boot_s=now.boot_s + after_s,
            ),
            proven_ms=self.moment.proven_ms + int(after_s * 1000),
        )
        if self.speaks:
            seen = self.moment.sight.nodes["shelf"]
            seen.beat = replace(seen.beat, heard_boot_s=self.moment.now.boot_s)
        self._read()
        made = judge(self.moment, self.watch, self.stamp, self.differ)
        self.fold(*made)
        self.events += made
        return made

    def look_on(self, span_s: float, every_s: float = 5.0) -> list[AlarmEvent]:
        """Look again and again."""
        made: list[AlarmEvent] = []
        for _ in range(round(span_s / every_s)):
            made += self.look(every_s)
        return made

    def _read(self) -> None:
        """A reading each quarter of an hour that is near enough to now."""
        series = self.moment.sight.readings.setdefault("kh", [])
        utc = self.moment.now.utc
        due = not series or utc - series[-1].at >= timedelta(minutes=15)
        if self.reads is None or not due:
            return
        wobble = (len(series) % 3 - 1) * 0.01
        series.append(
            Reading(
                tank="reef",
                probe="kh",
                parameter="alkalinity",
                value=dkh(self.reads + wobble),
                at=utc,
            )
        )


def names(events: list[AlarmEvent]) -> list[str]:
    """What happened to which alarm, in order."""
    return [
        one.alarm if isinstance(one, AlarmRaised) else f"{one.alarm} {one.to}"
        for one in events
    ]


def raised(events: list[AlarmEvent]) -> list[AlarmRaised]:
    """The tellings among them."""
    return [one for one in events if isinstance(one, AlarmRaised)]


def changed(events: list[AlarmEvent]) -> list[AlarmChanged]:
    """The changes among them."""
    return [one for one in events if isinstance(one, AlarmChanged)]
