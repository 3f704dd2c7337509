"""Beats said twice: known by sight, however many others come between."""

from slackwater.outside.broker.repeats import REMEMBERED, Repeats


def test_a_beat_that_was_taken_is_known_again_on_its_topic_alone() -> None:
    """Neither another beat nor another node's is."""
    repeats = Repeats()
    repeats.take("a", b"1")
    assert repeats.has("a", b"1")
    assert not repeats.has("a", b"2")
    assert not repeats.has("b", b"1")


def test_what_is_repeated_stays_known_and_what_is_not_is_forgotten() -> None:
    """A flood of one beat between genuine ones; memory holds no more than its bound."""
    repeats = Repeats()
    repeats.take("a", b"flood")
    for number in range(10 * REMEMBERED):
        repeats.take("a", b"%d" % number)
        assert repeats.has("a", b"flood")
    known = [
        number for number in range(10 * REMEMBERED) if repeats.has("a", b"%d" % number)
    ]
    assert known == list(range(9 * REMEMBERED + 1, 10 * REMEMBERED))
