"""Reasons: a closed list, one sentence each, and the figures behind it."""

from slackwater.facts.reasons import SENTENCES, Code, because


def test_every_code_has_one_sentence_of_its_own() -> None:
    """No code is silent and no two say the same."""
    assert set(Code) == set(SENTENCES)
    assert len(Code) == len(set(SENTENCES.values()))
    assert [] == [text for text in SENTENCES.values() if not text.endswith(".")]


def test_a_reason_carries_its_figures() -> None:
    """The sentence is for people, the figures are for both."""
    reason = because(Code.LINK_DOWN, observe=True, actuate=False)
    assert {"observe": True, "actuate": False} == reason.figures
    assert "The connection to the broker is not proven." == reason.text
