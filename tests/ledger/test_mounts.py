"""On which file system a ledger would lie."""

from pathlib import Path

import pytest

from slackwater.ledger.connection import filesystem_of

# Invented, in the format of fstab(5).
MOUNTS = """\
/dev/sda1 / ext4 rw,relatime 0 0
tmpfs /var tmpfs rw 0 0
storage:/export /var/lib/reef nfs4 rw 0 0
//box/share /media/my\\040share cifs rw 0 0
/dev/sda2 /var/lib/reef/local ext4 rw 0 0
old /srv ext4 rw 0 0
new:/x /srv nfs rw 0 0
short line
"""


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("/home/x", "ext4"),
        ("/var/lib/reef", "nfs4"),
        ("/var/lib/reef/live.ledger", "nfs4"),
        ("/var/lib/reefs", "tmpfs"),
        ("/var/lib/reef/local/live.ledger", "ext4"),
        ("/media/my share/live.ledger", "cifs"),
        ("/srv/live.ledger", "nfs"),
    ],
)
def test_the_deepest_and_latest_mount_says_the_file_system(
    path: str, expected: str
) -> None:
    """Mount points are matched by whole names, escapes undone."""
    assert expected == filesystem_of(Path(path), MOUNTS)


def test_no_mount_table_says_nothing() -> None:
    """Where it cannot be told, nothing is claimed."""
    assert filesystem_of(Path("/home/x"), "") == ""


def test_the_kernel_s_own_table_is_understood(tmp_path: Path) -> None:
    """On this machine the temporary directory lies on some local file system."""
    table = Path("/proc/self/mounts").read_text(encoding="utf-8")

    assert filesystem_of(tmp_path, table) != ""


def test_a_line_of_another_form_hides_no_mount() -> None:
    """What comes after it is read."""
    table = "garbage\n/dev/x / ext4 rw 0 0\n"
    assert "ext4" == filesystem_of(Path("/home/x"), table)
