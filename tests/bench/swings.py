"""The swing detector on its whole labelled set, and what one reading costs.

`python -m tests.bench.swings [SHARE]` prints the table of `tests.gate.swing_table` at
full size (more than two thousand series), or at that share of it; 0 leaves it out. Then
the time of one reading at a window of 2 000 of them: seen, a whole turn, folded; in
processor time, which other programs disturb less. A bare loop that finds the middle of
the same window stands beside it.
"""

import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta
from math import sin, tau
from random import Random
from statistics import fmean, median

from slackwater.facts.messages import Reading
from slackwater.facts.sight import READINGS_AT_MOST, READINGS_KEPT
from slackwater.facts.tank import Machine
from slackwater.gate.swings.judging import is_due
from tests.gate.scene import dkh, probed
from tests.gate.swing_table import parts_of, scored
from tests.turn.test_step import Bench

# As often as fills the window, and as long as a baseline looks back, and a day more.
PERIOD_S = READINGS_KEPT.total_seconds() / READINGS_AT_MOST
DAYS, MEASURED = 10, READINGS_AT_MOST
NOISE_DKH, CYCLE_DKH = 0.1, 0.3
A_MS = 1e3


def house() -> Machine:
    """The scene's tank, with a probe that fills the window."""
    base = probed()
    tank = replace(base.tanks["reef"], targets={"alkalinity": dkh(8.0)})
    probe = replace(base.probes["kh"], period_s=PERIOD_S)
    return replace(base, tanks={"reef": tank}, probes={"kh": probe})


def shown_dkh(number: int, rng: Random) -> float:
    """Noise on a daily cycle."""
    day = number * PERIOD_S / timedelta(days=1).total_seconds()
    return 8.0 + CYCLE_DKH / 2 * sin(tau * day) + rng.gauss(0, NOISE_DKH)


def one_by_one(bench: Bench) -> tuple[list[float], list[bool]]:
    """Processor seconds of each reading, oldest first, and whether it was judged.

    Doses go on between them.
    """
    rng = Random("bench")  # noqa: S311 -- an invented probe, no secret
    spent, judged = [], []
    (probe,) = bench.setup.machine.probes.values()
    for number in range(int(timedelta(days=DAYS).total_seconds() / PERIOD_S)):
        reading = Reading(
            tank="reef",
            probe="kh",
            parameter="alkalinity",
            value=dkh(round(shown_dkh(number, rng), 2)),
            at=bench.utc,
        )
        bench.hear_beat()
        bench.news = [reading]
        began = time.process_time()
        bench.step()
        spent.append(time.process_time() - began)
        judged.append(is_due(bench.sight.courses["kh"], probe))
        while bench.step() or bench.news:
            pass
        bench.utc += timedelta(seconds=PERIOD_S)
    return spent, judged


def of_bare(values: Sequence[float]) -> list[float]:
    """The same for the middle of the window alone."""
    return [_timed(lambda: median(values)) for _ in range(200)]


def _timed(work: Callable[[], object]) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began


def row(name: str, seconds: Sequence[float]) -> str:
    """Mean, middle, 99th percentile and slowest in milliseconds."""
    ordered = sorted(seconds)
    figures = (
        fmean(ordered),
        median(ordered),
        ordered[int(0.99 * len(ordered))],
        ordered[-1],
    )
    return f"{name:40s}" + "".join(f"{A_MS * figure:9.3f}" for figure in figures)


def tell(line: str) -> None:
    """One line for the person who asked."""
    sys.stdout.write(f"{line}\n")


def main() -> None:
    """Print the table, then the times."""
    share = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    if share > 0:
        parts = parts_of(share)
        tell(f"{sum(len(part.seeds) for part in parts)} series")
        table = scored(parts)
        tell("\n".join((*table.lines(), "", *table.missed, "")))
    bench = Bench(house())
    spent, judged = (one[-MEASURED:] for one in one_by_one(bench))
    window = [reading.value for reading in bench.sight.readings["kh"]]
    tell(f"{'ms of processor':40s}     mean   middle      99%  slowest")
    tell(row(f"one reading, a window of {len(window)}", spent))
    dear = [each for each, is_judged in zip(spent, judged, strict=True) if is_judged]
    tell(row(f"of these the {len(dear)} that are judged", dear))
    tell(row("the middle of that window", of_bare(window)))


if __name__ == "__main__":
    main()
