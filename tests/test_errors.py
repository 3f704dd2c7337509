"""Errors raised on purpose: what they carry, and how they travel."""

import pickle

import pytest

from slackwater.errors import (
    Finding,
    InputError,
    LedgerMovedError,
    RefusedError,
    SlackwaterError,
)

ONE = Finding(what="2 mL", where="line reef/kh", expected="1 mL", do="Lower it.")
TWO = Finding(what="no plan", where="", expected="a plan", do="Write one.")


def test_an_error_is_said_finding_by_finding() -> None:
    """Where, what, expected, do; without a place it begins with what was found."""
    error = InputError([ONE, TWO])
    assert (ONE, TWO) == error.findings
    assert [
        "line reef/kh: 2 mL; expected 1 mL. Lower it.",
        "no plan; expected a plan. Write one.",
    ] == str(error).splitlines()
    assert str(ONE) == str(InputError(ONE))


def test_an_error_without_a_finding_is_none() -> None:
    """Nobody could be told what to do: the slip is in the program, and is said."""
    with pytest.raises(ValueError, match="at least one finding"):
        SlackwaterError([])


@pytest.mark.parametrize("kind", [InputError, RefusedError, LedgerMovedError])
def test_an_error_is_the_same_in_another_process(kind: type[SlackwaterError]) -> None:
    """A rehearsal in a process of its own hands its findings back whole."""
    sent = kind([ONE, TWO])
    sent.add_note("seen by the second process")
    came = pickle.loads(pickle.dumps(sent))  # noqa: S301 -- pickled a moment ago
    assert (kind, (ONE, TWO), str(sent)) == (type(came), came.findings, str(came))
    assert ["seen by the second process"] == came.__notes__
    assert sent.exit_code == came.exit_code
