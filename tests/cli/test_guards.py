"""Frozen records of a process that stays: as frozen as ever, with less beside them."""

from dataclasses import FrozenInstanceError, dataclass, field, replace
from types import ModuleType

import pytest

from slackwater.cli.guards import share_guards


@dataclass(frozen=True, slots=True, kw_only=True)
class Shell:
    """Invented: a frozen record."""

    size_mm: int
    notes: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Snail(Shell):
    """Invented: one that comes from another."""

    name: str = "conch"


@dataclass(slots=True, kw_only=True)
class Sand:
    """Invented: one that may change."""

    depth_mm: int


class Grain(Sand):
    """Invented: a plain class that comes from a dataclass."""


def beach() -> ModuleType:
    """A module that holds all of them, and what is no class."""
    module = ModuleType("beach")
    vars(module).update(
        Shell=Shell, Snail=Snail, Sand=Sand, Grain=Grain, tide=3, again=Shell
    )
    return module


@pytest.fixture(autouse=True)
def _shared() -> None:
    share_guards([beach()])


@pytest.mark.parametrize("name", ["size_mm", "name", "weight_g"])
def test_no_field_of_a_frozen_record_is_set(name: str) -> None:
    """Its own, one it comes by, and one it has not; the words are Python's."""
    snail = Snail(size_mm=12)
    with pytest.raises(FrozenInstanceError, match=f"cannot assign to field '{name}'"):
        setattr(snail, name, 1)
    assert Snail(size_mm=12) == snail


def test_no_field_of_a_frozen_record_is_deleted() -> None:
    """The record stays whole."""
    shell = Shell(size_mm=9)
    with pytest.raises(FrozenInstanceError, match="cannot delete field 'size_mm'"):
        del shell.size_mm
    assert 9 == shell.size_mm


def test_frozen_records_are_made_and_compared_as_before() -> None:
    """New ones, changed copies and equal ones."""
    snail = replace(Snail(size_mm=12, notes={"seen": 1}), size_mm=13)
    assert (13, {"seen": 1}, "conch") == (snail.size_mm, snail.notes, snail.name)
    assert Shell(size_mm=1) == Shell(size_mm=1)
    assert Shell(size_mm=1) != Shell(size_mm=2)


def test_what_may_change_still_changes() -> None:
    """A dataclass that is not frozen is left alone, and so is a plain class."""
    sand, grain = Sand(depth_mm=1), Grain(depth_mm=2)
    sand.depth_mm, grain.depth_mm = 3, 4
    assert (3, 4) == (sand.depth_mm, grain.depth_mm)
