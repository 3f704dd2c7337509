"""Half a year of many invented tanks under three keepers.

`python -m tests.bench.tanks [TANKS]` lives through them and prints, by testing rhythm
and uptake: how steady alkalinity is, how often the plan changes where nothing does,
excursions, plans over a cap, and how often the 90 % interval of the uptake holds that
of the last day, at every test at which it is called known, whatever had just happened.
The two other keepers do what people do by hand.
"""

import math
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from statistics import fmean, pstdev

from tests.bench.keepers import (
    DAYS,
    HOURS,
    Adviser,
    Lived,
    as_proposed,
    by_last_test,
    life,
    live,
    never,
)

TANKS = 500
RHYTHMS = (1.0, 3.5, 7.0, 14.0)
NAMES = {1.0: "daily", 3.5: "twice a week", 7.0: "weekly", 14.0: "fortnightly"}
SETTLED_DAYS = 30
STRETCH_DAYS = 21
WEEK_DAYS = 7
LOW_DKH, HIGH_DKH = 6.5, 10.0
UPTAKES = ((0.2, 0.6), (0.6, 1.5), (1.5, 9.9))
KEEPERS: dict[str, Adviser] = {
    "propose": as_proposed,
    "last test": by_last_test,
    "fixed": never,
}


def lived_by(keeper: str, seeds: Sequence[int]) -> list[Lived]:
    """Some lives with one keeper; the rhythm goes round with the seed."""
    return [
        live(life(seed, RHYTHMS[seed % len(RHYTHMS)]), KEEPERS[keeper])
        for seed in seeds
    ]


def steady_sds(lived: Lived) -> Iterator[float]:
    """The standard deviation of alkalinity in each stretch in which nothing happens."""
    for begin in _stretches(lived):
        yield pstdev(lived.levels[begin * HOURS : (begin + STRETCH_DAYS) * HOURS])


def steady_changes(lived: Lived) -> Iterator[int]:
    """How often the plan changed in each such stretch."""
    for begin in _stretches(lived):
        yield sum(begin <= day < begin + STRETCH_DAYS for day in lived.changes)


def _stretches(lived: Lived) -> Iterator[int]:
    for begin in range(SETTLED_DAYS, DAYS - STRETCH_DAYS + 1, STRETCH_DAYS):
        if not any(lived.life.upset[begin : begin + STRETCH_DAYS]):
            yield begin


def outside_percent(all_lived: Sequence[Lived]) -> float:
    """Hours outside 6.5 to 10 dKH, in percent."""
    levels = [level for one in all_lived for level in one.levels]
    if not levels:
        return math.nan
    return 100 * fmean(not LOW_DKH <= level <= HIGH_DKH for level in levels)


def main(tanks: int = TANKS) -> None:
    """Live and print."""
    began = time.monotonic()
    parts = [range(at, min(at + 10, tanks)) for at in range(0, tanks, 10)]
    with ProcessPoolExecutor(2) as pool:
        told = {
            name: [
                one
                for part in pool.map(lived_by, [name] * len(parts), parts)
                for one in part
            ]
            for name in KEEPERS
        }
    _say(f"{tanks} tanks x {DAYS} days, {time.monotonic() - began:.0f} s")
    _say(
        f"{'keeper':10} {'rhythm':13} {'tanks':>5} {'tests/week':>10} {'SD dKH':>7} "
        f"{'changes/21 d':>12} {'outside %':>9} {'lowest':>7} {'highest':>7}"
    )
    for name, all_lived in told.items():
        for rhythm in RHYTHMS:
            _say(_row(name, rhythm, [x for x in all_lived if x.life.rhythm == rhythm]))
    _say("\nHours outside 6.5-10 dKH by uptake and rhythm, propose, percent:")
    _say(f"{'uptake dKH/day':15}" + "".join(f"{NAMES[r]:>14}" for r in RHYTHMS))
    for low, high in UPTAKES:
        cells = [
            outside_percent(
                [
                    one
                    for one in told["propose"]
                    if one.life.rhythm == rhythm and low <= one.life.uptake[0] < high
                ]
            )
            for rhythm in RHYTHMS
        ]
        _say(f"{low:4} to {high:4}    " + "".join(f"{cell:14.2f}" for cell in cells))
    covered = [hit for one in told["propose"] for hit in one.covered]
    _say(
        f"\n90 % interval holds the truth: {100 * fmean(covered):.1f} % of "
        f"{len(covered)}; plans over a cap: {sum(x.over_cap for x in told['propose'])}"
    )


def _say(text: str) -> None:
    sys.stdout.write(f"{text}\n")


def _row(name: str, rhythm: float, all_lived: Sequence[Lived]) -> str:
    sds = [sd for one in all_lived for sd in steady_sds(one)]
    changes = [count for one in all_lived for count in steady_changes(one)]
    levels = [level for one in all_lived for level in one.levels]
    tests = fmean(one.tests for one in all_lived) / DAYS * WEEK_DAYS
    return (
        f"{name:10} {NAMES[rhythm]:13} {len(all_lived):5} {tests:10.2f} "
        f"{fmean(sds):7.3f} "
        f"{fmean(changes):12.2f} {outside_percent(all_lived):9.2f} "
        f"{min(levels):7.2f} {max(levels):7.2f}"
    )


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
