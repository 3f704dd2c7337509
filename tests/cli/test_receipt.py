"""`approve` asks for a clean report of these very files, made with their faults."""

import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import rfc8785

from slackwater import __version__
from slackwater.cli.receipt import (
    LEAST_TRIED,
    NAME,
    Receipt,
    accepted,
    note,
    noted,
)
from slackwater.errors import RefusedError
from slackwater.facts.events import PlanApproved
from tests.cli.report.reports import rehearse
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import HIGHEST, Stage, stage_of

# A sample is rehearsed with all its faults: long, where others share the machine.
pytestmark = pytest.mark.timeout(300)

CLEAN = Receipt(
    digest="0f" * 32,
    ledger="a1",
    software=__version__,
    report="5e" * 32,
    tried=LEAST_TRIED,
    missed=0,
)
CONSENT = ("--by", "keeper", "--yes-highest-daily", HIGHEST, "--json")


def approvals(stage: Stage) -> list[PlanApproved]:
    """The approvals on record."""
    return [one for one in stage.events() if isinstance(one, PlanApproved)]


def test_a_real_report_with_faults_is_enough_and_its_hash_is_on_record(
    tmp_path: Path,
) -> None:
    """SHA-256 of the document as it is printed, in the canonical form of RFC 8785."""
    stage = stage_of(tmp_path)
    told = rehearse(stage.config, "--faults", "--json", state=stage.state)
    assert 0 == told.code
    assert rfc8785.dumps(told.document).decode() == told.out.rstrip("\n")  # type: ignore[arg-type]  # parsed JSON
    # The one line that is printed, without its end.
    expected = hashlib.sha256(told.out.rstrip("\n").encode()).hexdigest()
    approved = stage.run("approve", *CONSENT)
    assert (0, expected) == (approved.code, approved.document["report"])
    assert [expected] == [one.report for one in approvals(stage)]


def test_without_faults_nothing_can_be_approved(tmp_path: Path) -> None:
    """A plain rehearsal leaves no note; the refusal says what to run, and no figure."""
    stage = stage_of(tmp_path)
    assert 0 == rehearse(stage.config, "--days", 2, state=stage.state).code
    assert not (stage.state / NAME).exists()
    told = stage.run("approve", *CONSENT)
    assert 1 == told.code
    (error,) = told.errors
    assert "no rehearsal with faults was made" in error["what"]
    assert "slackwater rehearse --faults" in error["do"]
    assert "72" not in told.err
    assert [] == approvals(stage)


def test_a_note_of_other_files_is_not_enough(tmp_path: Path) -> None:
    """Rehearsed, then one figure changed."""
    stage = stage_of(tmp_path)
    stage.rehearsed()
    stage.config = changed(tmp_path / "new", SMALLEST, plan=('"36 mL"', '"30 mL"'))
    told = stage.run("approve", "--by", "keeper", "--yes-highest-daily", "60 mL")
    assert 1 == told.code
    assert "was of other files, digest" in told.err
    assert [] == approvals(stage)


def test_where_there_is_no_ledger_nothing_is_noted(tmp_path: Path) -> None:
    """A rehearsal makes no directory for itself."""
    away = tmp_path / "none"
    assert 0 == rehearse(SMALLEST, "--days", 1, "--faults", state=away).code
    assert not away.exists()


def test_a_directory_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """The rehearsal stands, and says that an approval will not find it."""
    stage = stage_of(tmp_path)
    (stage.state / f"{NAME}.part").mkdir()
    told = rehearse(stage.config, "--days", 1, "--faults", state=stage.state)
    assert 0 == told.code
    assert "Not noted in" in told.out
    assert noted(stage.state) is None


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (lambda _one: None, "no rehearsal with faults was made beside this ledger"),
        (lambda one: replace(one, ledger="b2"), "beside another ledger"),
        (lambda one: replace(one, digest="1e" * 32), "of other files, digest 1e1e1e1e"),
        (lambda one: replace(one, software="0.0.1"), "made by slackwater 0.0.1"),
        (lambda one: replace(one, tried=23), "only 23 faults could be tried, 24 are"),
        (lambda one: replace(one, unsound=("stall",)), "faults ended badly: stall"),
        (lambda one: replace(one, missed=3), "3 doses would be missed"),
    ],
)
def test_each_thing_that_is_not_clean_is_refused_by_name(
    change: Callable[[Receipt], Receipt | None], what: str
) -> None:
    """One reason, and it says what to do."""
    with pytest.raises(RefusedError, match=what) as caught:
        accepted(change(CLEAN), CLEAN.digest, CLEAN.ledger)
    (finding,) = caught.value.findings
    assert "--faults" in finding.do
    assert CLEAN == accepted(CLEAN, CLEAN.digest, CLEAN.ledger)


def test_a_note_is_read_as_it_was_written(tmp_path: Path) -> None:
    """Names of faults and all; the newest one counts."""
    for receipt in (CLEAN, replace(CLEAN, unsound=("stall", "restart"))):
        assert note(tmp_path, receipt)
        assert receipt == noted(tmp_path)
    assert [NAME] == [path.name for path in tmp_path.iterdir()]


@pytest.mark.parametrize(
    "spoil",
    [
        lambda _text: "",
        lambda text: text[:-1],
        lambda text: text.replace('"tried":24', '"tried":"24"'),
        lambda text: text.replace('"tried":24', '"tried":24,"tried":99'),
        lambda text: text.replace('"tried":24', '"tried":24,"other":1'),
        lambda text: text.replace('"missed":0,', ""),
        lambda _text: "[1]",
        lambda _text: "\x00",
    ],
)
def test_a_note_that_was_tampered_with_is_none(
    tmp_path: Path, spoil: Callable[[str], str]
) -> None:
    """Cut off, another type, a key twice, one too many or one too few."""
    assert note(tmp_path, CLEAN)
    path = tmp_path / NAME
    whole = path.read_text("utf-8")
    assert json.loads(whole)["tried"] == LEAST_TRIED
    path.write_text(spoil(whole), "utf-8")
    assert spoil(whole) != whole
    assert noted(tmp_path) is None
