"""A daemon that dies in the middle of an exchange, at any of its turns."""

from collections import Counter

import pytest

from tests.turn.pairs import CONTENT_UL, PORTION_UL, Pair


class Fallible(Pair):
    """A pair whose daemon dies at one of its turns, before or after it acts."""

    def __init__(self, at: int, *, acts: bool) -> None:
        """Die at the turn that has news for the `at`-th time."""
        super().__init__()
        self.at, self.acts, self.turns = at, acts, 0

    def hear_beat(self) -> None:
        """Beats are news as well: they say what became of a command."""
        super().hear_beat()
        self.news.append(self.sight.nodes["shelf"].beat)

    def _execute(self, command: object) -> None:
        if self.turns + 1 == self.at and not self.acts:
            return
        super()._execute(command)  # type: ignore[arg-type]  # as the bench calls it

    def step(self) -> list[object]:  # type: ignore[override]  # the same entries
        """One turn, and perhaps the last one of this daemon."""
        events = super().step()
        self.turns += bool(events)
        if events and self.turns == self.at:
            self.restart()
        return list(events)


@pytest.mark.parametrize("acts", [True, False])
@pytest.mark.parametrize(
    "at",
    [*range(1, 8), *(pytest.param(n, marks=pytest.mark.long) for n in range(8, 15))],
)
def test_a_crash_anywhere_doubles_no_fill_and_drains_nothing_on_top(
    at: int, *, acts: bool
) -> None:
    """Die at any turn of two exchanges: what was drained is the most that comes in."""
    pair = Fallible(at, acts=acts)
    pair.until(24)
    for_dose = Counter(command.attempt for command in pair.commands)
    assert {1} == set(for_dose.values())
    assert len(pair.commands) >= 2 * (10 - 1) or pair.state.holds
    missing_ul = 0
    for channel, volume_ul in pair.given():
        missing_ul += volume_ul if channel == "a" else -volume_ul
        assert 0 <= missing_ul <= PORTION_UL
    identities = [one.dose.id for one in pair.intents()]
    assert len(set(identities)) == len(identities)
    assert CONTENT_UL > pair.moved_ul["a"] > 0
