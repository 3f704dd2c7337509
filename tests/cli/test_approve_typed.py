"""What is said to `approve` is read, whether or not it would have been asked for."""

from pathlib import Path

import pytest

from slackwater.cli.checked import check_files
from slackwater.cli.consent import Consent, entries, proposal_for
from slackwater.cli.opening import newest_approval
from slackwater.cli.reading import read_files
from slackwater.cli.takeover import Swap
from slackwater.errors import RefusedError
from slackwater.outside.settings import file_digests
from tests.cli.stage import Stage, stage_of


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


@pytest.mark.parametrize(
    ("words", "code", "place"),
    [
        (("--yes-highest-daily", "garbage"), 2, "--yes-highest-daily"),
        (("--yes-highest-daily", "71 mL"), 1, "--yes-highest-daily"),
        (("--ratio-checked", "garbage"), 1, "--ratio-checked"),
        (("--ratio-checked", "6.5"), 1, "--ratio-checked"),
        (("--ratio-checked", "6e99999999"), 1, "--ratio-checked"),
        (("--by", "\x07"), 2, "--by"),
    ],
)
def test_a_wrong_word_is_refused_beside_the_plan_in_force(
    stage: Stage, words: tuple[str, ...], code: int, place: str
) -> None:
    """The same plan stands already; the words are wrong all the same."""
    assert 0 == stage.approve("--now").code
    told = stage.run("approve", *words, "--json")
    assert (code, [place]) == (told.code, [one["where"] for one in told.errors])
    assert 1 == stage.folded().last_serial


def test_the_right_words_beside_the_plan_in_force_change_nothing(
    stage: Stage,
) -> None:
    """A script that runs twice goes on."""
    assert 0 == stage.approve("--now").code
    told = stage.approve("--ratio-checked", "1.00")
    assert (0, False) == (told.code, told.document["approved"])


def consent_of(stage: Stage) -> Consent:
    """A consent to the files beside what stands in the ledger now."""
    files = read_files(stage.config)
    before = newest_approval(stage.folded())
    digest, sha256 = check_files(files).digest, file_digests(stage.config)
    proposal = proposal_for(files, digest, sha256, before)
    return Consent(proposal=proposal, by="k", swap=Swap(at=stage.stamp()["at"]))


def refusal(stage: Stage, consent: Consent) -> tuple[str, str]:
    """What was found and what was expected when it is to be written now."""
    with pytest.raises(RefusedError) as caught:
        entries(consent, stage.folded(), stage.stamp())
    (finding,) = caught.value.findings
    return finding.what, finding.expected


def test_an_approval_that_came_in_between_is_named(stage: Stage) -> None:
    """Where none stood before, none was expected; no approval has number 0."""
    consent = consent_of(stage)
    assert 0 == stage.approve("--now").code
    assert refusal(stage, consent) == (
        "approval 1 was given in between",
        "no approval to stand, as it was shown",
    )


def test_an_approval_that_was_withdrawn_in_between_is_named(stage: Stage) -> None:
    """The one that was shown, by its number."""
    assert 0 == stage.approve("--now").code
    consent = consent_of(stage)
    assert 0 == stage.run("withdraw", "1").code
    assert refusal(stage, consent) == (
        "approval 1 was withdrawn in between",
        "approval 1 to be the last, as it was shown",
    )
