"""The daemon's log is nobody's business here: ledger, wall and letters tell all."""

import logging
from collections.abc import Iterator

import pytest
import structlog


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """No word of the daemon's log."""
    before = structlog.get_config()
    silent = structlog.make_filtering_bound_logger(logging.CRITICAL)
    structlog.configure(wrapper_class=silent)
    yield
    structlog.configure(**before)
