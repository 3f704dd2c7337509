"""The grounds of a proposal, each with one sentence."""

from slackwater.facts.proposal import Ground, Grounded


def test_every_ground_is_one_sentence_of_its_own() -> None:
    """None is missing, none is said twice, each ends as a sentence does."""
    said = [Grounded(ground=ground).text for ground in Ground]
    assert len(Ground) == len(set(said))
    assert [] == [text for text in said if not text.endswith(".") or len(text) < 10]
