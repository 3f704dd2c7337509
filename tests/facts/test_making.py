"""Records made the quick way are the records their constructor makes."""

from collections.abc import Mapping
from copy import copy
from dataclasses import FrozenInstanceError, dataclass, field, fields, replace
from typing import Any

import pytest

from slackwater.facts.doses import DoseEnded, DoseIntended
from slackwater.facts.making import maker
from slackwater.facts.messages import Beat, Channel, Result, RunPump
from slackwater.facts.now import Now
from slackwater.facts.plan import DueDose
from slackwater.facts.state import Flow
from slackwater.gate.moment import Ask, Moment

RECORDS: tuple[type[Any], ...] = (
    *(DueDose, DoseIntended, DoseEnded, RunPump, Result),
    *(Beat, Channel, Now, Moment, Ask),
)


FLOW: dict[str, Any] = {"tank": "reef", "solution": "soda", "end_ms": 5}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """A field of each kind: asked for, with a default, with a fresh default."""

    name: str
    boards: int = 3
    jars: Mapping[str, int] = field(default_factory=dict)


make_shelf = maker(Shelf)


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: str(record.__name__))
def test_equals_what_the_constructor_makes(record: type[Any]) -> None:
    """Class, equality, text and every field agree, whatever stands in them."""
    values: dict[str, Any] = {
        each.name: f"value of {each.name}" for each in fields(record)
    }
    made, built = maker(record)(**values), record(**values)
    assert type(built) is type(made)
    assert built == made
    assert repr(built) == repr(made)
    assert hash(built) == hash(made)


def test_what_is_left_out_takes_its_default() -> None:
    """A plain default, and a fresh one for each record."""
    one, two = make_shelf(name="a"), make_shelf(name="a")
    assert Shelf(name="a") == one
    assert one.jars is not two.jars


def test_a_made_record_is_closed() -> None:
    """Nothing can be set or taken away, as with any frozen record."""
    shelf = make_shelf(name="a", boards=1)
    with pytest.raises(FrozenInstanceError):
        shelf.boards = 2  # type: ignore[misc] # that is what is tried
    with pytest.raises(FrozenInstanceError):
        del shelf.boards
    assert not hasattr(shelf, "__dict__")


def test_a_record_that_may_change_still_may() -> None:
    """What was no frozen record does not become one."""
    made, built = maker(Flow)(**FLOW), Flow(**FLOW)
    assert type(built) is type(made)
    assert built == made
    made.end_ms = 9
    assert 9 == made.end_ms


def test_copies_and_replacements_are_whole_records() -> None:
    """`copy` and `replace` work on it and give the plain class."""
    shelf = make_shelf(name="a", jars={"salt": 1})
    assert shelf == copy(shelf)
    assert Shelf(name="b", jars={"salt": 1}) == replace(shelf, name="b")


def test_a_missing_or_unknown_field_is_an_error() -> None:
    """The quick way is no more forgiving than the constructor."""
    with pytest.raises(TypeError, match="name"):
        make_shelf()  # type: ignore[call-arg] # that is what is tried
    with pytest.raises(TypeError, match="lamps"):
        make_shelf(name="a", lamps=1)  # type: ignore[call-arg] # that is what is tried


def test_refuses_a_class_that_does_more_than_set_fields() -> None:
    """A constructor with a check of its own must not be passed by."""

    @dataclass(frozen=True, slots=True, kw_only=True)
    class Checked:
        name: str

        def __post_init__(self) -> None:
            assert self.name

    @dataclass(frozen=True, slots=True, kw_only=True)
    class Worked:
        name: str = field(init=False, default="a")

    for record in (Checked, Worked):
        with pytest.raises(TypeError, match="call its constructor"):
            maker(record)
