"""What a bar does to what is wanted."""

from slackwater.assessment.barring import held_want
from slackwater.assessment.wants import Want
from slackwater.facts.proposal import Ground, Grounded

BARS = (Grounded(ground=Ground.BLOCKED),)
MORE = Want(maintenance=2.0, changed=True, grounds=(Grounded(ground=Ground.RESTS),))


def test_a_bar_holds_what_would_rise_at_what_it_is() -> None:
    """It says why, and no longer what the rise was for."""
    assert Want(maintenance=1.0, changed=False, grounds=BARS, barred=True) == held_want(
        MORE, 1.0, BARS
    )


def test_what_does_not_rise_or_is_not_barred_is_as_wanted() -> None:
    """As much as now, less than now, and a rise that nothing speaks against."""
    assert [MORE] * 3 == [
        held_want(MORE, 2.0, BARS),
        held_want(MORE, 3.0, BARS),
        held_want(MORE, 1.0, ()),
    ]
