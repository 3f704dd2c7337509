"""What every process of a run shares, so that a long rehearsal is made once."""

import os

import pytest

from tests.cli.report import reports


@pytest.fixture(scope="session", autouse=True)
def shelf(tmp_path_factory: pytest.TempPathFactory) -> None:
    """A folder of this run for documents: above those of its several processes."""
    base = tmp_path_factory.getbasetemp()
    reports.SHELF.append(base.parent if "PYTEST_XDIST_WORKER" in os.environ else base)
