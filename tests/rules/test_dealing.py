"""The order of tests among several processes loses none and keeps cores busy."""

from pathlib import Path

import pytest

from tests.conftest import allowed_s, dealt, waits

NAMES = [f"tests/{area}/test_it.py::test_{n}" for area in "ab" for n in range(9)]


class Item(pytest.Item):
    """A test that does nothing."""

    def runtest(self) -> None:
        """Do nothing."""


def items(request: pytest.FixtureRequest) -> list[pytest.Item]:
    """Eighteen short tests, two long ones, four that wait for a daemon."""
    root = request.session
    made: list[pytest.Item] = [_item(root, name) for name in NAMES]
    long = [_item(root, f"tests/a/test_it.py::test_long{n}") for n in range(2)]
    for each in long:
        each.add_marker(pytest.mark.timeout(60))
    waiting = [_item(root, f"tests/service/test_it.py::test_{n}") for n in range(4)]
    return [*made, *long, *waiting]


def _item(root: pytest.Session, name: str) -> pytest.Item:
    """One of them."""
    return Item.from_parent(root, name=name, nodeid=name, path=Path(name))


@pytest.mark.parametrize("processes", [1, 2, 3, 4, 30])
def test_every_test_is_dealt_once(
    request: pytest.FixtureRequest, processes: int
) -> None:
    """However many processes there are."""
    tests = items(request)
    order = dealt(tests, processes)
    assert sorted(each.nodeid for each in tests) == [
        e.nodeid for e in sorted(order, key=lambda each: each.nodeid)
    ]


def test_each_stretch_opens_with_what_takes_its_time(
    request: pytest.FixtureRequest,
) -> None:
    """The first with the longest, the others with what waits for programs."""
    order = dealt(items(request), 3)
    size = len(order) // 3
    assert [60.0, 60.0] == [allowed_s(each) for each in order[:2]]
    for start in (size, 2 * size):
        assert [True, True] == [waits(each) for each in order[start : start + 2]]
