"""What every process of a run shares, so that faults are rehearsed once a plan."""

import os
from collections.abc import Iterator

import pytest

from slackwater.cli.report import made
from tests.cli.fault_runs import FaultRuns


@pytest.fixture(scope="module", autouse=True)
def fault_runs(
    tmp_path_factory: pytest.TempPathFactory, pytestconfig: pytest.Config
) -> Iterator[None]:
    """Every report takes its faults from one shelf, above those of the processes."""
    base = tmp_path_factory.getbasetemp()
    folder = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    runs = FaultRuns(folder, whole=bool(pytestconfig.getoption("--long")))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(made, "run_cases", runs)
        yield
