"""Thirty days with every fault, beside a bare heap loop over the same doses.

`python -m tests.bench.faults [ROUNDS]` rehearses the invented house of `year` with 24
doses a day of each of its eight pumps, then tries every fault of the list that the
machine can be tried with, and prints both by the clock and in processor time, and the
slowest faults. The floor is measured in the same run: a heap of bare doses with local
dates, over as many days as rehearsal and faults live through together.
"""

import gc
import sys
from collections.abc import Iterator
from datetime import timedelta

from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.rehearsal.faults.cases import CASES
from slackwater.rehearsal.faults.running import AFTER_MS, BEFORE, run_cases
from slackwater.rehearsal.rehearsal import rehearse
from tests.bench import year
from tests.bench.year import Spent, bare_loop, best, clocks, house, since, spent

DOSES = 24
DAYS = 30
ROUNDS = 3
SLOWEST = 5
# What a report with faults may take (project limit, two cores).
MOST_S = 30.0


def case_days() -> float:
    """Days one fault lives through, before and after its strike."""
    return (BEFORE + timedelta(milliseconds=AFTER_MS)) / timedelta(days=1)


def each_case(machine: Machine, plan: Plan) -> Iterator[tuple[float, str]]:
    """Processor seconds of every fault that could be tried, with its name."""
    for case in CASES:
        begin = clocks()
        run = run_cases(machine, plan, plan.starts, (case,))
        if run.tried:
            yield since(begin)[1], case.id


def main() -> None:
    """Print plain days, faults, both together and the floor, of some rounds."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else ROUNDS
    year.DOSES = DOSES
    machine, plan = house()
    gc.disable()
    bare: list[Spent] = []
    plain: list[Spent] = []
    faults: list[Spent] = []
    slowest: list[tuple[float, str]] = []
    for _ in range(rounds):
        gc.collect()
        plain.append(spent(lambda: rehearse(machine, plan, plan.starts, DAYS)))
        begin = clocks()
        slowest = sorted(each_case(machine, plan), reverse=True)
        faults.append(since(begin))
        lived = round(DAYS + len(slowest) * case_days())
        bare.append(spent(lambda days=lived: bare_loop(days)))  # type: ignore[misc]  # a count
    whole = [(a + c, b + d) for (a, b), (c, d) in zip(plain, faults, strict=True)]
    heads = f"{len(machine.pumps)} pumps, {DOSES} doses a day of each, {DAYS} days"
    lines = (
        f"{heads}; {len(slowest)} of {len(CASES)} faults, {case_days():.1f} days each",
        f"{'':16s} best by the clock, best of the processor",
        words("bare heap loop", bare),
        words("plain days", plain),
        words("faults", faults),
        f"{words('together', whole)}, of {MOST_S:.0f} s allowed",
        f"{'ratio':16s} {best(whole) / best(bare):.1f} of processor time",
        *(f"{name:16s} {taken:5.2f} s" for taken, name in slowest[:SLOWEST]),
    )
    sys.stdout.write("\n".join(lines) + "\n")


def words(name: str, rounds: list[Spent]) -> str:
    """The best of some rounds on both clocks."""
    clock = min(by_clock for by_clock, _ in rounds)
    return f"{name:16s} {clock:5.2f} s, {best(rounds):5.2f} s"


if __name__ == "__main__":
    main()
