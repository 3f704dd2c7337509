"""How near the books come to the water in the day after a calibration.

`python -m tests.bench.booked [PUMPS] [SEED]` prints it for 1 000 invented pumps of 10
to 90 mL/min, each measured by the dialogue of `calibrate` as it stands, with nothing
said of runs, shots or volumes: the solution flows up to 15 % slower than the stated
rate or 5 % faster, 50 to 400 ms are lost at each start, each shot and each dose is off
by up to so many percent (even spread), a run is read to 10 mg on a scale, with half a
drop more or less. Then a day of doses, each between the shortest shot and the longest,
while the tube wears by 1 % a week. The books say what was asked, the bench what flowed.

Doses that err by themselves part from the books by chance alone, whatever is known of
the pump: what a pump of which everything is known would do stands beside, and so does
what `check` states of such a day, and on how many of the days that held.
Nothing here is shared with the product but what it asks and is told.
"""

import io
import statistics
import sys
from collections.abc import Iterable
from dataclasses import dataclass, replace
from random import Random

import click
from click.testing import CliRunner

from slackwater.cli.runs_asked import series_of
from slackwater.cli.shooting import Measured, measure
from slackwater.errors import RefusedError
from slackwater.facts.tank import Pump
from slackwater.pump.command import run_ms
from slackwater.pump.day_total import day_within_percent
from slackwater.service.calibrating import Shot, Watch
from tests.gate.scene import machine

PUMPS = 1000
SPREADS, DOSES_A_DAY = (0.05, 0.02, 0.01), (24, 48, 96)
MOST_OFF = 0.01
WEAR_A_DAY = 0.01 / 7
SCALE_UL, DROP_UL = 10, 25.0
PLENTY_UL = 10**8


class Cylinder(io.RawIOBase):
    """Standard input of one who reads what came since the last reading."""

    def __init__(self, rng: Random) -> None:
        """Start empty."""
        super().__init__()
        self.rng = rng
        self.holds_ul = 0.0

    def readable(self) -> bool:
        """Like any input."""
        return True

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        """One line: what the scale shows; the cylinder is emptied after it."""
        drop_ul = self.rng.uniform(-DROP_UL, DROP_UL)
        shown_ul = round((self.holds_ul + drop_ul) / SCALE_UL) * SCALE_UL
        line = f"{max(shown_ul, 0)} uL\n".encode()
        self.holds_ul = 0.0
        buffer[: len(line)] = line
        return len(line)


@dataclass(slots=True)
class Invented:
    """One pump as it is."""

    rng: Random
    spread: float
    nominal: Pump
    ul_per_s: float
    lag_s: float

    def gives_ul(self, ms: int) -> float:
        """What one run gives, microlitres, with its own error."""
        error = self.rng.uniform(-self.spread, self.spread)
        return max(self.ul_per_s * (ms / 1000 - self.lag_s) * (1 + error), 0.0)


def invented(rng: Random, spread: float) -> Invented:
    """A pump whose stated rate is that of water."""
    stated = rng.uniform(10, 90) * 1_000_000 // 60
    pump = replace(
        machine().pumps["carbonate"],
        rate_nl_per_s=int(stated),
        per_calibration_ul=PLENTY_UL,
    )
    return Invented(
        rng=rng,
        spread=spread,
        nominal=pump,
        ul_per_s=stated / 1000 * rng.uniform(0.85, 1.05),
        lag_s=rng.uniform(0.05, 0.4),
    )


def calibrated(pump: Invented) -> Measured | None:
    """What the dialogue comes to; None where it keeps nothing."""
    cylinder = Cylinder(pump.rng)
    series = series_of(
        pump.nominal, machine(), {"runs": None, "shots": None, "volume": ()}
    )
    kept: list[Measured] = []

    def shoot(_pump: str, volume_ul: int, _watch: Watch) -> Shot:
        ms = run_ms(volume_ul, pump.nominal.rate_nl_per_s)
        cylinder.holds_ul += pump.gives_ul(ms)
        return Shot(ran_ms=ms, believed_ul=volume_ul, how="full")

    @click.command()
    def dialogue() -> None:
        kept.append(measure(shoot, series, lambda: PLENTY_UL))

    done = CliRunner().invoke(dialogue, input=io.BufferedReader(cylinder))
    if done.exception is not None and not isinstance(done.exception, RefusedError):
        raise done.exception
    return kept[0] if kept else None


def dose_ul(pump: Invented, found: Measured) -> int:
    """A dose between the shortest shot and the longest."""
    shots_ul = [run.shot_ul for run in found.runs]
    return round(pump.rng.uniform(min(shots_ul), max(shots_ul)))


def parted(pump: Invented, found: Measured, volume_ul: int, doses: int) -> float:
    """By what part the water of the first day had more than the books, or less."""
    ms = run_ms(volume_ul, found.flow.rate_nl_per_s, found.flow.offset_nl)
    flowed_ul = sum(
        pump.gives_ul(ms) * (1 - WEAR_A_DAY * number / doses) for number in range(doses)
    )
    return flowed_ul / (volume_ul * doses) - 1


def by_chance(rng: Random, spread: float, doses: int) -> float:
    """The same where everything is known of the pump."""
    return statistics.fmean(rng.uniform(-spread, spread) for _ in range(doses))


def figures(pumps: int, seed: str = "", spread: float = SPREADS[0]) -> dict[str, float]:
    """What came of so many pumps; the same for the same number and seed."""
    rng = Random(f"booked {pumps} {spread}{seed}")  # noqa: S311 -- invented pumps
    made = [invented(rng, spread) for _ in range(pumps)]
    kept = [(one, found) for one in made if (found := calibrated(one)) is not None]
    spent_ml = [_spent_ml(pump, one) for pump, one in kept]
    came = {
        "calibrations kept": len(kept) / pumps,
        "shots, mean": statistics.fmean(one.shots for _, one in kept),
        "runs, mean": statistics.fmean(len(one.runs) for _, one in kept),
        "mL at 30 mL/min, mean": statistics.fmean(spent_ml),
        "mL at 30 mL/min, most": max(spent_ml),
    }
    for doses in DOSES_A_DAY:
        days = [_day(pump, one, doses) for pump, one in kept]
        luck = [abs(by_chance(rng, spread, doses)) for _ in kept]
        came[f"{doses} doses within 1 %"] = _share(off <= MOST_OFF for off, _ in days)
        came[f"{doses} doses within 1 %, all known"] = _share(
            off <= MOST_OFF for off in luck
        )
        came[f"{doses} doses stated within, % (median)"] = 100 * statistics.median(
            stated for _, stated in days
        )
        came[f"{doses} doses within what is stated"] = _share(
            off <= stated for off, stated in days
        )
    return came


def _day(pump: Invented, found: Measured, doses: int) -> tuple[float, float]:
    """How far a day was off, and how far at most by what `check` states, as parts."""
    volume_ul = dose_ul(pump, found)
    stated = day_within_percent(found.runs, volume_ul, doses, one_length=False)
    return abs(parted(pump, found, volume_ul, doses)), stated / 100


def _share(held: Iterable[bool]) -> float:
    return statistics.fmean(held)


def _spent_ml(pump: Invented, found: Measured) -> float:
    """What its calibration took, as if it were a pump of 30 mL/min."""
    return found.volume_ul * 500 / pump.nominal.rate_nl_per_s


if __name__ == "__main__":
    asked = int(sys.argv[1]) if len(sys.argv) > 1 else PUMPS
    for share in SPREADS:
        print(f"each shot and dose up to {100 * share:g} % off")  # noqa: T201 -- a bench
        for name, value in figures(asked, "".join(sys.argv[2:]), share).items():
            print(f"{value:10.4f}  {name}")  # noqa: T201 -- a bench prints
