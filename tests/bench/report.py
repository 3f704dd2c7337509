"""A laboratory's report of some forty elements, from the file to a rehearsed plan.

`python -m tests.bench.report [ROUNDS]` takes the demo's report and a fortnight of tests
into a fresh ledger, and times `import`, `assess`, `propose --write` and `rehearse`,
each as the process that a person starts, beside a bare start of the interpreter and one
that loads the verbs with their libraries: what is left is the work itself.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from statistics import median

from tests.cli.run_program import SMALLEST
from tests.cli.stage import Stage, stage_of

ROOT = Path(__file__).resolve().parents[2]
REPORT = ROOT / "demo" / "config" / "report.csv"
ROUNDS = 5
DAYS = 14
WIDTH = 22
VERBS = ("importing", "assessing", "proposing", "rehearsing")
LOADED = "; ".join(f"import slackwater.cli.commands.{verb}" for verb in VERBS)


def say(line: str) -> None:
    """One line of figures."""
    sys.stdout.write(line + "\n")


def timed(*words: str) -> float:
    """Seconds by the clock that a process takes from start to end."""
    begin_s = time.perf_counter()
    subprocess.run(
        [sys.executable, *words],
        check=True,
        stdout=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(ROOT / "daemon")},
    )
    return time.perf_counter() - begin_s


def tested(stage: Stage, now: datetime) -> None:
    """A fortnight of tests in which alkalinity falls by 0.15 dKH a day."""
    for back in range(DAYS, 0, -1):
        at = (now - timedelta(days=back)).isoformat(timespec="seconds")
        words = [f"alkalinity={7.4 + 0.15 * back:.2f} dKH", "--method", "drops"]
        assert 0 == stage.run("record", *words, "--at", at).code


def chain(stage: Stage, now: datetime) -> Iterator[tuple[str, float]]:
    """Each verb from report to rehearsal with its seconds, as a process each."""
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


def lived(folder: Path) -> dict[str, float]:
    """One round in a folder of its own."""
    config = folder / "config"
    shutil.copytree(SMALLEST, config)
    stage = stage_of(folder, config)
    now: datetime = stage.stamp()["at"]
    tested(stage, now)
    return {
        "bare interpreter": timed("-c", "pass"),
        "verbs loaded": timed("-c", LOADED),
        **dict(chain(stage, now)),
    }


def main() -> None:
    """Live some rounds and print the medians."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else ROUNDS
    told: list[dict[str, float]] = []
    for _ in range(rounds):
        with tempfile.TemporaryDirectory() as folder:
            told.append(lived(Path(folder)))
    medians = {name: median(one[name] for one in told) for name in told[0]}
    bare, loaded, *verbs = medians.values()
    for name, seconds in medians.items():
        say(
            f"{name:{WIDTH}} {seconds:6.3f} s, {seconds - bare:6.3f} s beyond the bare "
            f"start, {max(seconds - loaded, 0.0):6.3f} s beyond loading"
        )
    work = sum(verbs) - len(verbs) * loaded
    say(
        f"{'from report to plan':{WIDTH}} {sum(verbs):6.3f} s in {len(verbs)} "
        f"processes, {work:.3f} s of it work"
    )


if __name__ == "__main__":
    main()
