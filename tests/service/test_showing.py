"""What is shown costs no dose when it cannot be made."""

from pathlib import Path

import pytest
from structlog.testing import capture_logs

from slackwater.service import showing
from slackwater.service.showing import show_all
from tests.service.test_metering import running


def test_what_cannot_be_shown_costs_a_document_and_never_the_daemon(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A figure that is not there is logged; the loop goes on."""
    with running(tmp_path) as rig:
        with capture_logs() as told:
            show_all(rig)
        assert [] == told
        monkeypatch.setattr(showing, "tank_document", {}.__getitem__)
        with capture_logs() as told:
            show_all(rig)
    assert [("state_not_shown", "TypeError")] == [
        (one["event"], one["why"]) for one in told
    ]
