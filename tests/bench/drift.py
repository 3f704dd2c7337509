"""How soon weekly levels find a pump that drifts, and how often they cry for nothing.

`python -m tests.bench.drift [RUNS] [SEED]` prints it for 1 000 invented pumps: each is
measured as `calibrate` measures, in six runs of ten shots (a pump whose runs are not
kept is measured again), runs eight doses of 5 mL a day from a bottle of 2 L, each dose
off by up to 5 %, start lag 50 to 400 ms, and is read once a week to ±5 mL, before and
after each refill. Then:
nothing changes for a year; the flow jumps by 10 % up or down at some moment of some
week; the tube wears by 1 % a week.
Nothing here is shared with the detector but its input.
"""

import sys
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random

from slackwater.facts.state import Interval
from slackwater.gate.drift import judged
from slackwater.pump.flow import Flow, MeasuredRun, flow_of

RUNS, WEEKS = 1000, 52
DOSE_UL, DOSES_A_WEEK = 5_000, 56
NOISE, WITHIN_UL, FULL_UL = 0.05, 5_000, 2_000_000
DOSES_A_DAY, DAYS_A_WEEK = 8, 7
SHOT_MS, SHOTS = (4_000, 4_000, 4_000, 12_000, 12_000, 12_000), 10
STEP, STEP_WEEK, WEAR_A_WEEK = 0.10, 6, 0.01
T0 = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)


@dataclass(slots=True)
class Bench:
    """One invented pump on its bottle, as it is and as it was measured."""

    rng: Random
    rate: float = 0.0
    lag_s: float = 0.0
    run_s: float = 0.0
    left_ul: float = FULL_UL
    shown_ul: int = FULL_UL
    intervals: list[Interval] = field(default_factory=list)

    def make(self) -> "Bench":
        """A pump of some flow in µL/s, measured; its bottle full and read."""
        self.rate = self.rng.uniform(300, 1500)
        self.lag_s = self.rng.uniform(0.05, 0.4)
        self.measure()
        self.shown_ul = self._read()
        return self

    def measure(self) -> None:
        """Take runs until they are kept; what was seen before is then of the past."""
        found = None
        while not isinstance(found, Flow):
            found = flow_of([self._run(run_ms) for run_ms in SHOT_MS])
        self.run_s = (DOSE_UL * 1000 - found.offset_nl) / found.rate_nl_per_s
        self.intervals = []

    def _run(self, run_ms: int) -> MeasuredRun:
        given_ul = sum(self.given_ul(run_ms / 1000, 1.0) for _ in range(SHOTS))
        given_ul *= self.rng.gauss(1, 0.003)
        return MeasuredRun(
            ran_ms=run_ms * SHOTS, volume_ul=round(given_ul), shots=SHOTS
        )

    def given_ul(self, run_s: float, gives: float) -> float:
        """What one run gives, with its noise."""
        noise = 1 + self.rng.uniform(-NOISE, NOISE)
        return self.rate * gives * (run_s - self.lag_s) * noise

    def _read(self) -> int:
        return round(self.left_ul + self.rng.uniform(-WITHIN_UL, WITHIN_UL))

    def week(self, number: int, gives: list[float]) -> bool:
        """A week of doses and the level at its end; whether a drift is found."""
        self.left_ul -= sum(self.given_ul(self.run_s, each) for each in gives)
        self._level(number, len(gives))
        verdict = judged(self.intervals)
        if self.left_ul < FULL_UL / 4:
            self.left_ul = FULL_UL * self.rng.uniform(0.97, 1.0)
            self.shown_ul = self._read()
        return verdict is not None and verdict.is_found

    def _level(self, number: int, runs: int) -> None:
        shown_ul = self._read()
        self.intervals.append(
            Interval(
                began_at=T0 + timedelta(weeks=number),
                ended_at=T0 + timedelta(weeks=number + 1),
                pumps=("pump",),
                used_ul=self.shown_ul - shown_ul,
                believed_ul=DOSE_UL * runs,
                runs=runs,
                begin_ul=WITHIN_UL,
                end_ul=WITHIN_UL,
            )
        )
        self.shown_ul = shown_ul


def false_alarms(rng: Random) -> int:
    """Alarms in a year in which nothing changes; each is answered by a calibration."""
    bench, count = Bench(rng=rng).make(), 0
    for number in range(WEEKS):
        if bench.week(number, [1.0] * DOSES_A_WEEK):
            count += 1
            bench.measure()
    return count


def days_to_step(rng: Random) -> float:
    """Days from a jump of 10 % to its alarm; an alarm before it is answered."""
    bench, sign = Bench(rng=rng).make(), rng.choice((-1, 1))
    for number in range(STEP_WEEK):
        if bench.week(number, [1.0] * DOSES_A_WEEK):
            bench.measure()
    before = rng.randrange(DOSES_A_WEEK)
    after = 1 + sign * STEP
    gives = [1.0] * before + [after] * (DOSES_A_WEEK - before)
    number = STEP_WEEK
    while not bench.week(number, gives):
        gives, number = [after] * DOSES_A_WEEK, number + 1
    return DAYS_A_WEEK * (number - STEP_WEEK + 1) - before / DOSES_A_DAY


def worn_when_found(rng: Random) -> float:
    """The part of the flow that wear had taken when the alarm came."""
    bench, number = Bench(rng=rng).make(), 0
    while not bench.week(number, _worn(number)):
        number += 1
    return WEAR_A_WEEK * (number + 1)


def _worn(number: int) -> list[float]:
    return [
        1 - WEAR_A_WEEK * (number + dose / DOSES_A_WEEK) for dose in range(DOSES_A_WEEK)
    ]


def figures(runs: int, seed: str = "") -> dict[str, float]:
    """What came of so many pumps; the same for the same number and seed."""
    rng = Random(f"drift {runs}{seed}")  # noqa: S311 -- invented pumps, no secret
    cries = [false_alarms(rng) for _ in range(runs)]
    steps = [days_to_step(rng) for _ in range(runs)]
    worn = [worn_when_found(rng) for _ in range(runs)]
    late = STEP + 2 * WEAR_A_WEEK
    return {
        "false alarms a year": sum(cries) / runs,
        "10 % found within 14 days, share": sum(one <= 14 for one in steps) / runs,
        "slowest, days": max(steps),
        "wear found within 14 days of 10 %, share": sum(w <= late for w in worn) / runs,
        "wear when found, mean": sum(worn) / runs,
        "wear when found, most": max(worn),
        "wear when found, least": min(worn),
    }


if __name__ == "__main__":
    asked = int(sys.argv[1]) if len(sys.argv) > 1 else RUNS
    for name, value in figures(asked, "".join(sys.argv[2:])).items():
        print(f"{value:10.4f}  {name}")  # noqa: T201 -- a bench prints
