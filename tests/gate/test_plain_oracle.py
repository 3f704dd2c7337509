"""Random traces of inputs: the gate beside a judge that shares no line with it.

While the judge says *blocked* no dose begins, while it says *unknown* none is larger
than the base, and while it says *free* the whole dose runs: nothing is held in vain.
"""

from collections.abc import Callable

import pytest

from slackwater.gate.watches import WATCHES
from tests.gate.trace_acts import play
from tests.gate.traces import BLAMED, SAID
from tests.rules import tree

TRACES, LONG_TRACES = 1_000, 100_000


@pytest.mark.timeout(1800)
def test_i6_i7_no_trace_doses_against_the_plain_judge(
    tell: Callable[[str], None], pytestconfig: pytest.Config
) -> None:
    """Thousands of random traces: nothing while blocked, the base while unknown.

    Every row of the table of interlocks on inputs was to blame for something.
    """
    SAID.clear()
    BLAMED.clear()
    count = LONG_TRACES if pytestconfig.getoption("--long") else TRACES
    for seed in range(count):
        assert [] == play(seed)
    tell(f"{count} traces, the judge said {dict(SAID)}")
    assert min(SAID[word] for word in ("blocked", "unknown", "free")) > count
    assert {row.name for row in WATCHES} == set(BLAMED)


def test_the_plain_judge_imports_nothing_of_the_daemon() -> None:
    """It stands on the standard library alone."""
    named = {}
    for name in ("plain_oracle", "plain_alkalinity", "plain_tables"):
        text = (tree.TOP / "tests" / "gate" / f"{name}.py").read_text("utf-8")
        lines = [line for line in text.splitlines() if "import" in line.split()]
        named[name] = {line.split()[1] for line in lines}
    plain = {"collections", "collections.abc", "dataclasses", "itertools", "statistics"}
    assert named.pop("plain_tables") == set()
    assert set().union(*named.values()) == {
        *plain,
        "tests.gate.plain_alkalinity",
        "tests.gate.plain_tables",
    }
