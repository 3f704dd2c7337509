"""Runs the program in this process and reads what it printed."""

import json
from dataclasses import dataclass
from pathlib import Path

from click.testing import CliRunner

from slackwater.cli.main import program

CONFIG = Path(__file__).resolve().parents[2] / "config"
SMALLEST = CONFIG / "smallest"


@dataclass(frozen=True, slots=True)
class Outcome:
    """Exit code and both streams of one run."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> dict[str, object]:
        """The one JSON document on standard output."""
        found = json.loads(self.out)
        assert isinstance(found, dict)
        return found

    @property
    def errors(self) -> list[dict[str, str]]:
        """The findings of the document."""
        found = self.document["errors"]
        assert isinstance(found, list)
        return found


def run(*words: object, typed: str = "") -> Outcome:
    """Run the program with these words; `typed` stands on standard input."""
    result = CliRunner().invoke(program, [str(word) for word in words], input=typed)
    return Outcome(result.exit_code, result.stdout, result.stderr)


def changed(folder: Path, sample: Path, **texts: tuple[str, str]) -> Path:
    """A copy of a sample in which one text of a file stands for another.

    The key is the file's name without its ending.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for source in sample.glob("*.toml"):
        text = source.read_text("utf-8")
        if source.stem in texts:
            old, new = texts[source.stem]
            assert old in text
            text = text.replace(old, new)
        (folder / source.name).write_text(text, "utf-8")
    return folder
