"""The control file of the invented reef: what it switches and what it refuses."""

import json
from pathlib import Path

import pytest

from demo.reef import faults
from demo.reef.faults import ControlFile, Faults, Names, OnceRecord, SwingRecord
from demo.reef.rim import ReefError

_NAMES = Names(
    nodes=frozenset({"shelf"}),
    pumps=frozenset({"carbonate"}),
    tanks=frozenset({"reef"}),
)
_ALL = {
    "drop-results": True,
    "freeze-probe": True,
    "over-deliver": {"carbonate": 1.5},
    "swing": {"tank": "reef", "dkh_per_s": -0.05, "until_dkh": 6.5},
    "reboot": {"serial": 1, "node": "shelf", "mid_run_ms": 700, "for_s": 3.0},
    "lose-link": {"serial": 2, "node": "shelf", "for_s": 8.0},
    "hang": {"serial": 3, "node": "shelf", "for_s": 4.0},
}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the control file of this test stands."""
    return tmp_path / "control.json"


def test_reads_every_fault(path: Path) -> None:
    """All switches of the documented form arrive as they were written."""
    path.write_text(json.dumps(_ALL))
    assert ControlFile(path, _NAMES).changed() == Faults.model_validate(
        {
            "drop-results": True,
            "freeze-probe": True,
            "over-deliver": {"carbonate": 1.5},
            "swing": SwingRecord(tank="reef", dkh_per_s=-0.05, until_dkh=6.5),
            "reboot": OnceRecord(serial=1, mid_run_ms=700, for_s=3.0, node="shelf"),
            "lose-link": OnceRecord(serial=2, for_s=8.0, node="shelf"),
            "hang": OnceRecord(serial=3, for_s=4.0, node="shelf"),
        }
    )


def test_the_example_of_the_module_is_a_control_file(path: Path) -> None:
    """What the docstring shows can be copied and names every fault."""
    text = faults.__doc__ or ""
    path.write_text(text[text.index("{") :])
    shown = ControlFile(path, _NAMES).changed()
    assert shown is not None
    assert shown.model_fields_set == set(Faults.model_fields)


def test_a_missing_file_is_a_sound_reef(path: Path) -> None:
    """No path, no file or an empty object switch nothing on."""
    assert ControlFile(None, _NAMES).changed() == Faults()
    assert ControlFile(path, _NAMES).changed() == Faults()
    path.write_text("{}")
    assert ControlFile(path, _NAMES).changed() == Faults()


def test_only_a_change_is_told(path: Path) -> None:
    """The same content is told once; a removed file switches everything off."""
    control = ControlFile(path, _NAMES)
    path.write_text('{"drop-results": true}')
    assert control.changed() == Faults.model_validate({"drop-results": True})
    assert control.changed() is None
    path.unlink()
    assert control.changed() == Faults()
    assert control.changed() is None


@pytest.mark.parametrize(
    ("content", "field"),
    [
        (b"", "not to be read"),
        (b"[]", "the whole"),
        (b"\xff", "not to be read"),
        (b'{"drop-results": true, "drop-results": false}', "not to be read"),
        (b'{"drop_results": true}', "drop_results"),
        (b'{"drop-results": 1}', "drop-results"),
        (b'{"over-deliver": {"carbonate": NaN}}', "over-deliver.carbonate"),
        (b'{"over-deliver": {"carbonate": 0}}', "over-deliver.carbonate"),
        (b'{"over-deliver": {"magnesium": 2}}', "over-deliver: there is no 'magnes"),
        (b'{"swing": {"tank": "pond", "dkh_per_s": 1, "until_dkh": 9}}', "swing: the"),
        (b'{"swing": {"tank": "reef", "dkh_per_s": 1}}', "swing.until_dkh"),
        (b'{"reboot": {"node": "shelf"}}', "reboot.serial"),
        (b'{"reboot": {"serial": 0, "node": "shelf"}}', "reboot.serial"),
        (b'{"hang": {"serial": 1, "node": "cellar"}}', "hang: there is no 'cellar'"),
    ],
)
def test_a_wrong_file_changes_nothing_and_is_told_once(
    path: Path, content: bytes, field: str
) -> None:
    """One line names file and field; the next look is silent."""
    control = ControlFile(path, _NAMES)
    path.write_bytes(content)
    with pytest.raises(ReefError) as refused:
        control.changed()
    assert str(refused.value).startswith(f"{path}: {field}")
    assert "\n" not in str(refused.value)
    assert control.changed() is None
