"""What is charged, kept apart from the daemon's own fold: plain lists and sums."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date

from slackwater.facts.events import (
    AnyEvent,
    ChargeRaised,
    DoseEnded,
    DoseIntended,
    DoseVoided,
    LedgerMade,
)
from slackwater.facts.tank import Machine
from slackwater.facts.waters import AddedByHand

HOUR_MS, DAY_MS = 3_600_000, 86_400_000


@dataclass(slots=True, kw_only=True)
class Charge:
    """One intent's charge; `more` lists later raises with their proven moment."""

    pump: str
    tank: str
    solution: str
    day: date
    proven_ms: int
    asked_ul: int
    in_water: bool
    voided: bool = False
    more: list[tuple[int, int]] = field(default_factory=list)

    def parts(self) -> Iterator[tuple[int, int]]:
        """Proven moment and microlitres of all that is charged."""
        if not self.voided:
            yield self.proven_ms, self.asked_ul
            yield from self.more

    def total_ul(self) -> int:
        """Everything charged for it."""
        return sum(ul for _, ul in self.parts())


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """What a person poured in, at the proven moment it was given."""

    tank: str
    solution: str
    given_ms: int
    effects: Mapping[str, int]


@dataclass(slots=True, kw_only=True)
class Account:
    """All charges so far; `made_ms` when nobody said what was dosed before."""

    charges: dict[str, Charge] = field(default_factory=dict)
    before: list[tuple[str, int, int]] = field(default_factory=list)
    hands: list[Hand] = field(default_factory=list)
    unanswered_ms: int | None = None

    def take(self, event: AnyEvent) -> None:
        """Take one entry in."""
        if isinstance(event, LedgerMade):
            self.before = [
                (pump, event.proven_ms, ul) for pump, ul in event.dosed_ul.items()
            ]
            self.unanswered_ms = None if event.answered else event.proven_ms
        elif isinstance(event, AddedByHand):
            age_ms = int((event.at - event.given_at).total_seconds() * 1000)
            self.hands.append(
                Hand(
                    tank=event.tank,
                    solution=event.solution,
                    given_ms=event.proven_ms - max(age_ms, 0),
                    effects=event.effects,
                )
            )
        elif isinstance(event, DoseIntended):
            self.charges[event.command.attempt] = Charge(
                pump=event.dose.pump,
                tank=event.dose.tank,
                solution=event.solution,
                day=event.local_day,
                proven_ms=event.proven_ms,
                asked_ul=event.command.ul,
                in_water=event.dose_kind == "plan",
            )
        elif isinstance(event, DoseVoided):
            self.charges[event.attempt].voided = True
        elif isinstance(event, DoseEnded | ChargeRaised):
            charge = self.charges[event.attempt]
            more_ul = event.charge_ul - charge.total_ul()
            if more_ul > 0:
                charge.more.append((event.proven_ms, more_ul))

    def over_caps(self, intent: DoseIntended, machine: Machine) -> Iterator[str]:
        """Every cap the intent, already taken in, stands above."""
        pump = machine.pumps[intent.dose.pump]
        now_ms, asked_ul = intent.proven_ms, intent.command.ul
        if intent.dose_kind == "calibrate":
            shots_ul = self._since(now_ms - HOUR_MS, pump.id, in_water=False)
            yield from _above("calibration", shots_ul, pump.per_calibration_ul)
            return
        yield from _above("dose", asked_ul, pump.per_dose_ul)
        unknown_ul = self._unknown(pump.per_day_ul, now_ms)
        rolling_ul = self._since(now_ms - DAY_MS, pump.id, in_water=True)
        rolling_ul += sum(
            ul
            for name, at_ms, ul in self.before
            if name == pump.id and at_ms > now_ms - DAY_MS
        )
        yield from _above("24 h", rolling_ul + unknown_ul, pump.per_day_ul)
        today_ul = sum(
            charge.total_ul()
            for charge in self.charges.values()
            if (charge.pump, charge.day, charge.in_water)
            == (pump.id, intent.local_day, True)
        )
        yield from _above("day", today_ul + unknown_ul, pump.per_day_ul)
        if pump.per_hour_ul is not None:
            hour_ul = self._since(now_ms - HOUR_MS, pump.id, in_water=True)
            yield from _above("hour", hour_ul, pump.per_hour_ul)
        yield from self._over_effects(intent, machine)

    def _over_effects(self, intent: DoseIntended, machine: Machine) -> Iterator[str]:
        tank = machine.tanks[intent.dose.tank]
        for parameter in machine.solutions[intent.solution].effects:
            cap = tank.caps[parameter]
            added = sum(
                ul * machine.solutions[charge.solution].effects.get(parameter, 0)
                for charge in self.charges.values()
                if charge.in_water and charge.tank == tank.id
                for at_ms, ul in charge.parts()
                if at_ms > intent.proven_ms - DAY_MS
            )
            added += sum(
                source.per_day
                for source in machine.outside
                if (source.tank, source.parameter) == (tank.id, parameter)
            )
            added += sum(
                hand.effects.get(parameter, 0)
                for hand in self.hands
                if hand.tank == tank.id and hand.given_ms > intent.proven_ms - DAY_MS
            )
            added += self._unknown(cap.gross, intent.proven_ms)
            yield from _above(f"gross {parameter}", added, cap.gross)
            if cap.net_rise is not None:
                uptake = tank.uptake.get(parameter)
                low = 0 if uptake is None else uptake.low
                yield from _above(f"net {parameter}", added - low, cap.net_rise)

    def too_soon(self, intent: DoseIntended, machine: Machine) -> Iterator[str]:
        """Hand additions that the intent's solution must not meet yet."""
        if intent.dose_kind == "calibrate":
            return
        for hand in self.hands:
            gap_ms = machine.gap_s(intent.solution, hand.solution) * 1000
            passed_ms = intent.proven_ms - hand.given_ms
            if hand.tank == intent.dose.tank and passed_ms < gap_ms:
                yield f"{passed_ms} ms after {hand.solution} by hand"

    def _since(self, after_ms: int, pump: str, *, in_water: bool) -> int:
        return sum(
            ul
            for charge in self.charges.values()
            if (charge.pump, charge.in_water) == (pump, in_water)
            for at_ms, ul in charge.parts()
            if at_ms > after_ms
        )

    def _unknown(self, cap: int, now_ms: int) -> int:
        """What stays used up for a day because nobody said."""
        if self.unanswered_ms is None:
            return 0
        return cap if now_ms - self.unanswered_ms < DAY_MS else 0


def _above(cap: str, reached: int, ceiling: int) -> Iterator[str]:
    if reached > ceiling:
        yield f"{cap} {reached} above {ceiling}"
