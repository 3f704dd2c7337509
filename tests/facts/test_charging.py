"""The accounts: charged from the intent on, given back by a void, raised by reports."""

from slackwater.facts.rolling import DAY_MS
from tests.facts.diary import Diary, begun


def charged(diary: Diary, key: str = "pump/carbonate") -> int:
    """What one account holds over the last 24 proven hours."""
    return diary.state.charges[key].since(diary.proven_ms - DAY_MS)


def test_h20_a_shot_that_gives_more_is_charged_with_more() -> None:
    """The small cap for calibrating counts what was reported, like any other."""
    diary = begun()
    diary.intend(1, ul=1000, in_water=False)
    diary.end(1, 2500, "over", charge_ul=2500)
    assert 2500 == charged(diary, "calibrate/carbonate")
