"""The same files in other words have the same digest: a thousand rewrites.

Keys and tables in another order, inline or not, remarks, quotes, escapes, line ends,
composed or decomposed letters, and amounts in other units.
"""

import random
import tomllib
from collections import Counter
from pathlib import Path

import pytest

from slackwater.cli.reading import digest_of, read_files
from slackwater.outside.settings import file_digests
from tests.cli.run_program import CONFIG
from tests.cli.toml_rewrites import Writer

SAMPLES = ("smallest", "chemistry", "two-tanks")
LEAST, SLICE = 1000, 36
NAMES = ("slackwater", "plan")


def documents(sample: str) -> dict[str, dict[str, object]]:
    """The two files of a sample, one name of which has letters that compose."""
    found = {
        name: tomllib.loads((CONFIG / sample / f"{name}.toml").read_text("utf-8"))
        for name in NAMES
    }
    tanks = found["slackwater"]["tank"]
    assert isinstance(tanks, dict)
    tanks["reef"]["name"] = "Größtes Café-Riff"
    return found


def written(folder: Path, sample: str, seed: int | None) -> Path:
    """The files of a sample, rewritten by chance; None in one plain way."""
    folder.mkdir(exist_ok=True)
    for name, document in documents(sample).items():
        chance = random.Random(f"{sample} {seed} {name}")  # noqa: S311 - words of a test
        text = Writer(chance).text(document)
        (folder / f"{name}.toml").write_bytes(text.encode())
    return folder


def rewrites(folder: Path, count: int) -> tuple[Counter[str], set[str]]:
    """Digests of so many rewrites of each sample, and the hashes of their bytes."""
    found: Counter[str] = Counter()
    seen: set[str] = set()
    for sample in SAMPLES:
        expected = digest_of(read_files(written(folder / "plain", sample, None)))
        for seed in range(count // len(SAMPLES) + 1):
            config = written(folder / "other", sample, seed)
            assert expected == digest_of(read_files(config)), f"{sample}, seed {seed}"
            found[expected] += 1
            seen.add(str(file_digests(config)))
    return found, seen


def test_a_slice_of_rewrites_keeps_the_digest(tmp_path: Path) -> None:
    """A dozen of each sample, no two of them the same bytes."""
    found, seen = rewrites(tmp_path, SLICE)
    assert len(SAMPLES) == len(found)
    assert found.total() == len(seen) >= SLICE


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_a_thousand_rewrites_keep_the_digest(tmp_path: Path) -> None:
    """Of every sample a third."""
    found, seen = rewrites(tmp_path, LEAST)
    assert len(SAMPLES) == len(found)
    assert found.total() == len(seen) >= LEAST


@pytest.mark.parametrize("sample", SAMPLES)
def test_a_rewrite_is_the_same_document_but_for_amounts(
    tmp_path: Path, sample: str
) -> None:
    """Whoever reads it finds the same keys: the writer changes no meaning."""
    config = written(tmp_path / "other", sample, 7)
    for name, document in documents(sample).items():
        text = (config / f"{name}.toml").read_bytes().decode()
        assert keys(document) == keys(tomllib.loads(text))


def keys(value: object) -> object:
    """The shape of a document without its words and figures."""
    if isinstance(value, dict):
        return {key: keys(item) for key, item in value.items()}
    if isinstance(value, list):
        return [keys(item) for item in value]
    return type(value)
