"""Every world that can be reached, nearest first, until one is broken."""

from collections import Counter, deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

from tests.faults.settle_world import Bounds, World, broken, steps


@dataclass(slots=True)
class Found:
    """What a search met: `story` leads to the broken world, empty if there is none.

    `words` counts worlds by what their first dose came to; `left` worlds were met and
    not looked at, for `most` was reached.
    """

    worlds: int = 0
    left: int = 0
    broken: str = ""
    story: tuple[str, ...] = ()
    words: Counter[str] = field(default_factory=Counter)


def search(first: World, bounds: Bounds, most: int) -> Found:
    """Look at up to `most` worlds, breadth first, and stop at the first broken one."""
    came: dict[World, World | None] = {first: None}
    waiting, found = deque([first]), Found()
    while waiting and len(came) < most:
        world = waiting.popleft()
        found.words[world.doses[0].word] += 1
        found.words["held"] += world.held
        for _, after in steps(world, bounds):
            if after in came:
                continue
            came[after] = world
            waiting.append(after)
            if wrong := broken(after):
                story = tuple(_story(came, after, bounds))
                return Found(worlds=len(came), broken=wrong, story=story)
    found.worlds, found.left = len(came), len(waiting)
    return found


def _story(
    came: dict[World, World | None], last: World, bounds: Bounds
) -> Iterator[str]:
    """The steps that lead there, in order."""
    path = [last]
    while (before := came[path[-1]]) is not None:
        path.append(before)
    path.reverse()
    for world, after in pairwise(path):
        yield next(name for name, one in steps(world, bounds) if one == after)
