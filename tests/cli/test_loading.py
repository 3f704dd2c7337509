"""What a verb loads, told by the process itself: facts, not times.

Loading is most of what a short verb takes; on a small board it is seconds.
"""

from datetime import timedelta
from pathlib import Path

import pytest

from tests.cli.child import TOP, in_process, modules_of, packages_of
from tests.cli.run_program import SMALLEST
from tests.cli.stage import Stage, stage_of

REPORT = TOP / "demo" / "config" / "report.csv"
# Units beyond litres, arrays, the wire, the alarm clock, logs, and what these bring.
HEAVY = {"pint", "numpy", "paho", "apscheduler", "structlog", "asyncio", "ssl"}
# Rooms in which no verb but those that rehearse or run has work.
FAR = {"slackwater.rehearsal", "slackwater.turn"}
PLANNING = {"slackwater.planning"}
JUDGING = {"slackwater.assessment"}
SETTLING = {"slackwater.gate", "slackwater.alarms"}


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, which measures in litres, with a fresh ledger."""
    made = stage_of(tmp_path, SMALLEST)
    assert 0 == made.run("record", "alkalinity=8.2 dKH", "--method", "drops").code
    return made


def loaded(stage: Stage, *words: object) -> set[str]:
    """Packages and rooms that a verb has loaded when it ends well."""
    return packages_of(modules_loaded(stage, *words))


def modules_loaded(stage: Stage, *words: object) -> set[str]:
    """Modules that a verb has loaded when it ends well."""
    places = ("--config", stage.config, "--state", stage.state)
    done = in_process(*words, *places)
    assert 0 == done.returncode, done.stderr[:1000]
    return set(modules_of(done))


@pytest.mark.parametrize(
    ("words", "needless"),
    [
        (("status",), JUDGING),
        (("hold", "--note", "cleaning"), JUDGING | SETTLING | {"rich"}),
        (("record", "calcium=420 mg/L", "--method", "drops"), SETTLING),
        (("ledger",), JUDGING | SETTLING | PLANNING | {"slackwater.outside"}),
        (("tasks",), JUDGING | SETTLING),
        (("assess",), PLANNING | {"slackwater.gate"}),
        (("propose",), SETTLING | {"rich"}),
    ],
)
def test_a_verb_loads_nothing_it_has_no_work_for(
    stage: Stage, words: tuple[str, ...], needless: set[str]
) -> None:
    """Neither library nor room."""
    assert set() == loaded(stage, *words) & (HEAVY | FAR | needless)


def test_a_check_forecasts_and_loads_what_that_takes_alone(stage: Stage) -> None:
    """What a plan does to the level is its work; deciding on doses is not.

    Of alarms it takes how a level is carried to now, which is one reckoning for all.
    """
    found = modules_loaded(stage, "check")
    assert set() == packages_of(found) & (HEAVY | {"slackwater.turn"})
    alarms = {name for name in found if name.startswith("slackwater.alarms.")}
    assert {"slackwater.alarms.pace"} == alarms


def test_help_loads_hardly_anything() -> None:
    """What it takes is the start of Python; `tests.bench.report` times it."""
    done = in_process("--help")
    needless = JUDGING | SETTLING | PLANNING | {"pydantic", "sqlite3", "rich"}
    assert set() == packages_of(modules_of(done)) & (HEAVY | FAR | needless)


def test_a_report_comes_in_without_judging_it(stage: Stage) -> None:
    """Taking in and assessing are two steps; from which level on to act is a table."""
    taken = stage.stamp()["at"] - timedelta(days=3)
    words = ("import", REPORT, "--sampled-at", taken.isoformat(timespec="seconds"))
    found = modules_loaded(stage, *words)
    assert set() == packages_of(found) & (HEAVY | FAR | SETTLING)
    judging = {name for name in found if name.startswith("slackwater.assessment.")}
    assert {"slackwater.assessment.trace_bands"} == judging
