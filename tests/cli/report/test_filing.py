"""Where a page is written: whole, or not at all and with one clear error."""

from pathlib import Path

import pytest

from slackwater.cli.report.filing import write_page
from slackwater.errors import InputError

MARK = "<!-- a page of ours -->"


@pytest.mark.parametrize("name", ["", "/", "file/page.html", "no/page.html"])
def test_a_place_for_no_file_is_one_clear_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """An empty name, the root, a folder that is a file, a folder that is not there."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("a file", "utf-8")
    with pytest.raises(InputError) as caught:
        write_page(Path(name), "a page", MARK)
    (finding,) = caught.value.findings
    assert str(Path(name)) == finding.where
    assert ["file"] == [path.name for path in tmp_path.iterdir()]


def test_a_page_that_cannot_take_its_place_leaves_nothing_behind(
    tmp_path: Path,
) -> None:
    """A folder stands where the page should."""
    (tmp_path / "page.html").mkdir()
    with pytest.raises(InputError):
        write_page(tmp_path / "page.html", "a page", MARK)
    assert ["page.html"] == [path.name for path in tmp_path.iterdir()]
