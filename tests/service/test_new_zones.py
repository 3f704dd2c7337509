"""New zone data: an approval whose table it reproduces stands, any other is held (H41).

The data are those of the tz database itself, under the name of another zone: Paris has
kept Berlin's clock since 1980, Lisbon is an hour behind it, Moscow changes none.
"""

import zoneinfo
from collections.abc import Callable, Iterator
from contextlib import closing
from importlib import resources
from pathlib import Path

import pytest

from slackwater.cli.reading import digest_of, read_files
from slackwater.facts.reasons import Code
from slackwater.planning import ceilings, days, timetable, wall
from slackwater.service.memory import Memory
from slackwater.service.standing import zone_hashes
from slackwater.service.tables import changed_tables, hold_changed_tables
from tests.cli.run_program import SMALLEST
from tests.cli.stage import Stage, digest_of_files, stage_of
from tests.service.test_alarms import rig_of

BERLIN = "Europe/Berlin"
SAME, OTHER = ["Europe/Paris"], ["Europe/Lisbon", "Europe/Moscow"]
Lay = Callable[[str], None]


@pytest.fixture
def lay(tmp_path: Path) -> Iterator[Lay]:
    """Put the data of one zone under the name of Berlin, for this process."""
    folder = tmp_path / "zones"
    berlin = folder / BERLIN
    berlin.parent.mkdir(parents=True)

    def laid(name: str) -> None:
        source = resources.files("tzdata").joinpath("zoneinfo", *name.split("/"))
        berlin.write_bytes(source.read_bytes())
        forget()

    zoneinfo.reset_tzpath(to=[str(folder)])
    yield laid
    zoneinfo.reset_tzpath()
    forget()


def forget() -> None:
    """Nothing that was worked out of the data before may be remembered."""
    zoneinfo.ZoneInfo.clear_cache()
    digest_of_files.cache_clear()
    for module in (days, wall, timetable, ceilings):
        for value in vars(module).values():
            clear = getattr(value, "cache_clear", None)
            if clear is not None:
                clear()


@pytest.fixture
def stage(tmp_path: Path, lay: Lay) -> Stage:
    """Approved while Berlin is Berlin."""
    lay(BERLIN)
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    return stage


def held(stage: Stage) -> list[str]:
    """The holds after a start."""
    with closing(Memory(stage.state, "live")) as memory:
        memory.open()
        hold_changed_tables(rig_of(stage, memory))
        return list(memory.state.holds)


@pytest.mark.parametrize("name", SAME)
def test_h41_zone_data_that_reproduce_the_table_keep_the_approval(
    stage: Stage, lay: Lay, name: str
) -> None:
    """Other bytes, the same doses: the digest, and no hold."""
    files = read_files(SMALLEST)
    before = (zone_hashes(files.machine), digest_of(files))
    lay(name)
    after = (zone_hashes(files.machine), digest_of(files))
    assert before[0] != after[0]
    assert before[1] == after[1]
    assert [] == held(stage)
    again = stage.approve()
    assert False is again.document["approved"]


@pytest.mark.parametrize("name", OTHER)
def test_h41_zone_data_that_lay_another_table_hold_everything(
    stage: Stage, lay: Lay, name: str
) -> None:
    """Once, latched, until a person approved again."""
    files = read_files(SMALLEST)
    before = digest_of(files)
    lay(name)
    assert before != digest_of(files)
    hold_id = f"{Code.TABLE_CHANGED}/1"
    assert [hold_id] == held(stage)
    assert [hold_id] == held(stage)
    hold = stage.folded().holds[hold_id]
    assert (True, "all", Code.TABLE_CHANGED) == (
        hold.latched,
        hold.scope,
        hold.reason.code,
    )
    assert 0 == stage.approve("--now").code
    assert 0 == stage.run("release", hold_id).code
    assert [] == held(stage)


def test_the_plan_that_is_to_come_is_looked_at_as_well(stage: Stage, lay: Lay) -> None:
    """Approved for midnight, and laid otherwise before it takes over."""
    plan = stage.config / "plan.toml"
    assert plan.exists()
    state = stage.folded()
    utc = state.approvals[-1].approval.takes_over_at
    assert [] == changed_tables(state, utc)
    lay(OTHER[0])
    early = utc.replace(year=utc.year - 1)
    assert [1] == changed_tables(state, early) == changed_tables(state, utc)


def test_an_approval_from_before_tables_were_kept_is_taken_at_its_word(
    stage: Stage, lay: Lay
) -> None:
    """Its entry says nothing of a table."""
    state = stage.folded()
    (event,) = state.approvals
    lay(OTHER[0])
    object.__setattr__(event, "table", "")
    assert [] == changed_tables(state, event.approval.takes_over_at)
