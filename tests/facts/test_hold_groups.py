"""Groups of holds: one for each reason."""

from slackwater.facts.hold_groups import GROUPS, group_of
from slackwater.facts.reasons import Code


def test_a_reason_is_in_the_group_a_person_would_look_in_first() -> None:
    """One of each group, and what is about a pump itself."""
    assert {
        Code.FEEDING: "people",
        Code.PH_HIGH: "water",
        Code.PROBE_FROZEN: "probes",
        Code.LEAK: "equipment",
        Code.CLOCK_JUMPED: "daemon",
        Code.SHORT_DELIVERED: "pumps",
    } == {
        code: group_of(code)
        for code in (
            Code.FEEDING,
            Code.PH_HIGH,
            Code.PROBE_FROZEN,
            Code.LEAK,
            Code.CLOCK_JUMPED,
            Code.SHORT_DELIVERED,
        )
    }


def test_every_group_is_shown_and_every_reason_has_one() -> None:
    """No reason is in a group without words, and no words without a reason."""
    assert GROUPS.keys() == {group_of(code) for code in Code}
