"""What to do, in sentences, the most urgent first.

Floor 3. One subject: the words an assessment leads with. Laws here: words come before
figures; where nothing needs doing that is said, with the next test.
"""

from collections.abc import Iterator, Sequence
from datetime import timedelta

from slackwater.assessment.picture import Picture
from slackwater.assessment.practice import CORE
from slackwater.assessment.records import Advice, Notice

_RANKS = {"alarm": 0, "warning": 25}
# End no correction and yet come first: the animals may be in trouble.
_FIRST = frozenset(
    {"uptake-fell", "level-too-low", "level-too-high", "tested-too-high"}
)
# These change with the hour: nobody plans the next test of them.
_HOURLY = frozenset({"temperature", "ph"})


def todo(
    picture: Picture, told: Sequence[Notice], advice: Sequence[Advice]
) -> tuple[str, ...]:
    """Sentences for people, each once."""
    ranked = [*_of_notices(told), *((one.rank, one.text) for one in advice)]
    sentences = [text for _, text in sorted(ranked, key=lambda pair: pair[0])]
    return tuple(dict.fromkeys(sentences)) or (_nothing(picture),)


def _of_notices(told: Sequence[Notice]) -> Iterator[tuple[int, str]]:
    for notice in told:
        if notice.weight in _RANKS:
            text = notice.text[:1].upper() + notice.text[1:].rstrip(".")
            rank = 0 if notice.code in _FIRST else _RANKS[notice.weight]
            yield rank, f"{text}."


def _nothing(picture: Picture) -> str:
    """Every core test is there and young, or there would be something to do."""
    ahead = [
        (found.sampled_at + timedelta(days=found.shelf_days or 0.0), parameter)
        for parameter in CORE
        if parameter not in _HOURLY
        and (found := picture.standings[parameter]).sampled_at is not None
    ]
    when, parameter = min(ahead)
    return f"Nothing needs to be done; test {parameter} by {picture.day(when)}."
