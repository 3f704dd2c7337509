"""Parts of a rehearsal in one process and in several."""

import multiprocessing
import os
import threading
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
import rfc8785

from slackwater.cli import spreading
from slackwater.cli.reading import read_files
from slackwater.cli.report.document import report_document
from slackwater.cli.report.made import Wishes, make_report
from slackwater.cli.report.past import read_past
from slackwater.cli.spreading import on_all_cores, one_by_one, side_by_side
from slackwater.errors import InputError
from slackwater.rehearsal.found import Found, Spread
from slackwater.rehearsal.parts import Part, parted
from slackwater.rehearsal.rehearsal import Taped, rehearse_by, tape_part
from tests.cli.run_program import CONFIG

DAYS = 3


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """The sample of two tanks; the frag tank has bottles of its own."""
    folder = tmp_path / "config"
    folder.mkdir()
    plan = (CONFIG / "two-tanks" / "plan.toml").read_text("utf-8")
    (folder / "plan.toml").write_text(plan, "utf-8")
    machine = (CONFIG / "two-tanks" / "slackwater.toml").read_text("utf-8")
    reef, frags = machine.split("# The pumps of frags.")
    for name in ("carbonate", "calcium", "magnesium", "trace"):
        frags = frags.replace(f'reservoir = "{name}"', f'reservoir = "frags-{name}"')
        frags += f'\n[reservoir.frags-{name}]\ncontent = "5 L"\n'
    (folder / "slackwater.toml").write_text(reef + frags, "utf-8")
    return folder


@pytest.fixture
def parts(config: Path) -> tuple[Part, ...]:
    """The two tanks of it, some days."""
    files = read_files(config)
    seen: list[Part] = []

    def spread(found: Sequence[Part]) -> list[Found]:
        seen.extend(found)
        return []

    rehearse_by(spread, files.machine, files.plan, files.plan.starts, DAYS)
    assert [{"frags"}, {"reef"}] == [{*part.machine.tanks} for part in seen]
    return tuple(seen)


def report_with(config: Path, spread: Spread) -> bytes:
    """The whole document as it is written out."""
    files = read_files(config)
    past = read_past(config / "none", files.machine)
    wishes = Wishes(days=DAYS)
    return rfc8785.dumps(report_document(make_report(files, past, wishes, spread)))  # type: ignore[arg-type]  # JSON by its schema


def test_one_process_and_two_make_the_same_bytes(config: Path) -> None:
    """Also where there are more processes than parts."""
    alone = report_with(config, one_by_one)
    for processes in (1, 2, 5):

        def spread(parts: Sequence[Part], most: int = processes) -> list[Found]:
            return side_by_side(parts, most)

        assert alone == report_with(config, spread)


def test_fewer_processes_than_parts_do_them_all(parts: tuple[Part, ...]) -> None:
    """Answers come in the order of the parts, whoever gave them."""
    many = (*parts, *parts[::-1], *parts)
    assert one_by_one(many) == side_by_side(many, 2)


def test_parts_are_done_by_another_process(
    parts: tuple[Part, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """All but the first, where there is more than one process."""
    told: list[object] = []

    def note(_part: Part, process: object) -> Found:
        told.append(process)
        return Found(doses=(), nearest=())

    monkeypatch.setattr(spreading, "untaped", note)
    monkeypatch.setattr(spreading, "tape_part", process_of)
    side_by_side(parts, 2)
    (other,) = told
    assert os.getpid() != other


def process_of(_part: Part) -> int:
    """The number of the process that does a part."""
    return os.getpid()


@pytest.mark.parametrize("processes", [1, 2])
def test_an_error_of_a_part_is_raised_as_it_is(
    parts: tuple[Part, ...], processes: int
) -> None:
    """With its findings, and with the same words from either process."""
    first, other = parts
    line = replace(other.plan.lines[0], pump="nowhere")
    faulty = replace(other, plan=replace(other.plan, lines=(line,)))
    with pytest.raises(InputError) as caught:
        side_by_side((first, faulty), processes)
    with pytest.raises(InputError) as expected:
        tape_part(faulty)
    assert expected.value.findings == caught.value.findings
    assert str(expected.value) == str(caught.value)


def test_what_a_worker_died_of_is_done_here(
    parts: tuple[Part, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A worker that is ended from outside costs time and nothing else."""
    monkeypatch.setattr(spreading, "tape_part", dying)
    assert one_by_one(parts) == side_by_side(parts, 2)


def dying(_part: Part) -> Taped:
    """End the process at once, as the kernel does when memory is short."""
    os._exit(9)


def test_where_no_process_can_be_begun_parts_are_done_here(
    parts: tuple[Part, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The system has no room for one more."""

    def refuse() -> int:
        raise BlockingIOError

    monkeypatch.setattr(os, "fork", refuse)
    assert one_by_one(parts) == side_by_side(parts, 2)


def processes_for(
    parts: Sequence[Part], monkeypatch: pytest.MonkeyPatch, threads: int = 1
) -> int:
    """How many processes would do the parts, on four cores."""
    asked: list[int] = [1]

    def note(_parts: Sequence[Part], processes: int) -> list[Found]:
        asked.append(processes)
        return []

    monkeypatch.setattr(spreading, "side_by_side", note)
    monkeypatch.setattr(spreading, "one_by_one", lambda _parts: [])
    monkeypatch.setattr(spreading, "cores", lambda: 4)
    monkeypatch.setattr(threading, "active_count", lambda: threads)
    on_all_cores(parts)
    return asked[-1]


def year_of(parts: Sequence[Part]) -> list[Part]:
    """The same parts over a year."""
    until = date(2026, 1, 1) + timedelta(days=364)
    return [replace(each, first=date(2026, 1, 1), until=until) for each in parts]


def test_processes_are_begun_for_much_work_alone(
    parts: tuple[Part, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not for few days, one part, beside threads or where none can be forked."""
    year = year_of(parts)
    assert sum(part.doses_at_most for part in parts) < spreading.WORTH_DOSES
    assert 1 == processes_for(parts, monkeypatch)
    assert 4 == processes_for(year, monkeypatch)
    assert 1 == processes_for(year[:1], monkeypatch)
    assert 1 == processes_for(year, monkeypatch, threads=2)
    monkeypatch.setattr(multiprocessing, "get_all_start_methods", lambda: ["spawn"])
    assert 1 == processes_for(year, monkeypatch)


def test_doses_at_most_is_never_less_than_there_are(parts: tuple[Part, ...]) -> None:
    """What the decision rests on."""
    for part, found in zip(parts, one_by_one(parts), strict=True):
        assert 0 < len(found.doses) <= part.doses_at_most
        assert parted(part) == (part,)
