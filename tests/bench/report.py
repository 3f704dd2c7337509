"""A laboratory's report of some forty elements, from the file to a rehearsed plan.

`python -m tests.bench.report [ROUNDS]` takes the demo's report and a fortnight of tests
into a fresh ledger, and times `import`, `assess`, `propose --write` and `rehearse`,
each as the process that a person starts, by the clock and in processor time, which
other programs disturb less. A bare start of the interpreter and one that loads the
verb alone stand beside it: what is left is the work itself.
"""

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from statistics import median
from typing import NamedTuple

from tests.cli.run_program import SMALLEST
from tests.cli.stage import Stage, stage_of

ROOT = Path(__file__).resolve().parents[2]
REPORT = ROOT / "demo" / "config" / "report.csv"
ROUNDS = 5
DAYS = 14
WIDTH = 22
# What has to be through for a plan to be there that can be rehearsed.
TO_A_PLAN = ("import", "assess", "propose")
VERBS = (*TO_A_PLAN, "rehearse")
# As the program does it.
LOADING = "from slackwater.cli.main import program; program.get_command(None, {!r})"


class Spent(NamedTuple):
    """Seconds by the clock, and of the processor in the process and the system."""

    clock_s: float
    processor_s: float


def say(line: str) -> None:
    """One line of figures."""
    sys.stdout.write(line + "\n")


def processor_s() -> float:
    """Processor seconds of all children that have ended."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return children.ru_utime + children.ru_stime


def timed(*words: str) -> Spent:
    """What a process takes from start to end."""
    begin_s, begin_processor_s = time.perf_counter(), processor_s()
    subprocess.run(
        [sys.executable, *words],
        check=True,
        stdout=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(ROOT / "daemon")},
    )
    return Spent(time.perf_counter() - begin_s, processor_s() - begin_processor_s)


def tested(stage: Stage, now: datetime) -> None:
    """A fortnight of tests in which alkalinity falls by 0.15 dKH a day."""
    for back in range(DAYS, 0, -1):
        at = (now - timedelta(days=back)).isoformat(timespec="seconds")
        words = [f"alkalinity={7.4 + 0.15 * back:.2f} dKH", "--method", "drops"]
        assert 0 == stage.run("record", *words, "--at", at).code


def chain(stage: Stage, now: datetime) -> Iterator[tuple[str, Spent]]:
    """Each verb from report to rehearsal with what it takes, as a process each."""
    here = ("--config", str(stage.config), "--state", str(stage.state))
    taken = (now - timedelta(days=3)).isoformat(timespec="seconds")
    plan = str(stage.config / "plan.toml")
    for verb, *words in (
        ("import", str(REPORT), "--sampled-at", taken),
        ("assess",),
        ("propose", "--write", plan, "--replace"),
        ("rehearse", "--from", f"{now + timedelta(days=1):%Y-%m-%d}"),
    ):
        yield verb, timed("-m", "slackwater", verb, *here, *words)


def loaded(verb: str) -> Spent:
    """The start of a process that loads one verb with all it needs, and ends."""
    return timed("-c", LOADING.format(verb))


def lived(folder: Path) -> dict[str, Spent]:
    """One round in a folder of its own."""
    config = folder / "config"
    shutil.copytree(SMALLEST, config)
    stage = stage_of(folder, config)
    now: datetime = stage.stamp()["at"]
    tested(stage, now)
    return {
        "bare interpreter": timed("-c", "pass"),
        "--help": timed("-m", "slackwater", "--help"),
        **{f"{verb} loaded": loaded(verb) for verb in VERBS},
        **dict(chain(stage, now)),
    }


def median_of(rounds: Sequence[Spent]) -> Spent:
    """The middle of each column."""
    clock, processor = zip(*rounds, strict=True)
    return Spent(median(clock), median(processor))


def main() -> None:
    """Live some rounds and print the medians."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else ROUNDS
    told: list[dict[str, Spent]] = []
    for _ in range(rounds):
        with tempfile.TemporaryDirectory() as folder:
            told.append(lived(Path(folder)))
    middle = {name: median_of([one[name] for one in told]) for name in told[0]}
    for name, (clock_s, of_processor_s) in middle.items():
        say(f"{name:{WIDTH}} {clock_s:6.3f} s, {of_processor_s:6.3f} s of processor")
    clock_s = sum(middle[verb].clock_s for verb in TO_A_PLAN)
    of_processor_s = sum(middle[verb].processor_s for verb in TO_A_PLAN)
    loading_s = sum(middle[f"{verb} loaded"].processor_s for verb in TO_A_PLAN)
    say(
        f"{'report to plan':{WIDTH}} {clock_s:6.3f} s, {of_processor_s:6.3f} s of "
        f"processor in {len(TO_A_PLAN)} processes, {loading_s:.3f} s of it loading"
    )


if __name__ == "__main__":
    main()
