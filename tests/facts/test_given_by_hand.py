"""What a dose by hand is charged with: the caps of its pump and the one by hand."""

from dataclasses import replace

from slackwater.facts.events import DoseIntended
from tests.facts.diary import Diary, begun
from tests.facts.test_charging import charged, raise_to

BY_HAND = "hand/carbonate"


def by_hand(diary: Diary) -> None:
    """A dose of 2000 µL that a person asked for, under way."""
    diary.intend(1)
    plain = diary.events.pop()
    assert isinstance(plain, DoseIntended)
    asked = Diary(at=diary.at, boot_s=diary.boot_s, proven_ms=diary.proven_ms)
    asked.write(*diary.events, replace(plain, dose_kind="manual"))
    diary.events, diary.state = asked.events, asked.state


def test_a_voided_dose_by_hand_gives_the_cap_by_hand_back() -> None:
    """What never ran leaves room for another one, in both caps of the pump."""
    diary = begun()
    by_hand(diary)
    assert (2000, 2000) == (charged(diary), charged(diary, BY_HAND))
    diary.void(1)
    assert (0, 0) == (charged(diary), charged(diary, BY_HAND))


def test_h20_more_by_hand_than_asked_counts_against_the_cap_by_hand() -> None:
    """The larger figure counts against every cap, told at the end or later."""
    diary = begun()
    by_hand(diary)
    diary.end(1, 2500, "over", charge_ul=2500)
    assert (2500, 2500) == (charged(diary), charged(diary, BY_HAND))
    raise_to(diary, 1, 2600)
    assert (2600, 2600) == (charged(diary), charged(diary, BY_HAND))
