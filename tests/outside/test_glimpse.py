"""A glimpse is replaced whole, and one that cannot be read is none."""

from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.facts.reasons import Code, because
from slackwater.outside.glimpse import (
    LARGEST_BYTES,
    NAME,
    Glimpse,
    NodeGlimpse,
    ProbeGlimpse,
    PumpGlimpse,
    read_glimpse,
    write_glimpse,
)
from tests.outside.samples import AT

SEEN = Glimpse(
    at=AT,
    mode="live",
    synchronised=True,
    observe_up=True,
    actuate_up=False,
    free_bytes=10**9,
    differ=("plan.toml",),
    nodes={
        "left": NodeGlimpse(
            beat_age_s=2.5, up_s=3600.0, held=True, channels={"a": ("idle", 88_000)}
        )
    },
    probes={
        "kh": ProbeGlimpse(parameter="alkalinity", value=2.85, taken_at=AT, spoiled=1)
    },
    lines={
        "display/carbonate": PumpGlimpse(
            pump="carbonate",
            asked_ul=2000,
            volume_ul=0,
            refused=(because(Code.LINK_DOWN, observe=True, actuate=False),),
        )
    },
)


def test_what_was_written_is_read(tmp_path: Path) -> None:
    """The newest takes the place of the one before; nothing else is left there."""
    write_glimpse(tmp_path, replace(SEEN, mode="shadow"))
    write_glimpse(tmp_path, SEEN)
    assert SEEN == read_glimpse(tmp_path)
    assert [NAME] == [path.name for path in tmp_path.iterdir()]


@pytest.mark.parametrize(
    "content",
    [None, b"", b"{", b"[]", b'{"v":2}', b"\xff", b" " * (LARGEST_BYTES + 1)],
)
def test_what_cannot_be_read_is_none(tmp_path: Path, content: bytes | None) -> None:
    """Nobody falls over a file of another version, or over half of one."""
    if content is not None:
        (tmp_path / NAME).write_bytes(content)
    assert None is read_glimpse(tmp_path)


def test_a_disk_that_refuses_is_nobodys_loss(tmp_path: Path) -> None:
    """It is for display only: the daemon goes on."""
    write_glimpse(tmp_path / "gone", SEEN)
    assert [] == list(tmp_path.iterdir())
