"""What a visitor answers: asked for one by one, or told in a file.

Floor 8. One subject: the answers of a visit. Laws here: questions go to standard error;
an answer that is refused is told why and asked for again, but in a file it ends the
visit where it stands; what a file leaves out is left out of the visit.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Protocol

import click
from pydantic import Field, ValidationError

from slackwater.cli.questions import tell_again
from slackwater.cli.width import error_columns, fitted
from slackwater.errors import Finding, InputError
from slackwater.outside.settings.tables import TableModel

NAME = "answers"
Judge = Callable[[Sequence[str]], object]
_LARGEST_BYTES = 65_536


class VisitAnswers(TableModel):
    """Everything a visit may be told beforehand."""

    tests: list[str] = Field(default_factory=list, max_length=40)
    method: str = ""
    refills: dict[str, str] = Field(default_factory=dict)
    measure: list[str] = Field(default_factory=list, max_length=40)
    propose: bool = False
    highest_daily: str | None = None


class Talk(Protocol):
    """Where answers come from."""

    def tests(self, asked: str, judge: Judge) -> tuple[str, ...]:
        """Words such as alkalinity="8.1 dKH"; none when nothing was tested.

        `judge` refuses words that cannot be recorded together.
        """

    def method(self) -> str:
        """The kit or method of the tests."""

    def refill(self, reservoir: str, asked: str) -> str:
        """What a reservoir holds now; empty when it was not filled."""

    def wants_measured(self, pump: str, *, again: bool) -> bool:
        """Whether a pump is measured now; `again` when it was tried and not done."""

    def wants_proposal(self) -> bool:
        """Whether a plan shall be proposed and written."""

    def wants_approval(self) -> bool:
        """Whether what stands in the files shall be rehearsed and approved."""

    def highest(self) -> str | None:
        """The highest daily volume; None when the approval itself shall ask."""

    def again(self, step: Callable[[], object]) -> None:
        """Take a step, and once more after an answer that is refused."""


class Script:
    """Answers from a file."""

    def __init__(self, answers: VisitAnswers) -> None:
        """Keep the answers."""
        self._answers = answers

    def tests(self, asked: str, judge: Judge) -> tuple[str, ...]:
        """Those of the file; recording judges them, all at once."""
        del asked, judge
        return tuple(self._answers.tests)

    def method(self) -> str:
        """That of the file."""
        return self._answers.method

    def refill(self, reservoir: str, asked: str) -> str:
        """That of the file."""
        del asked
        return self._answers.refills.get(reservoir, "")

    def wants_measured(self, pump: str, *, again: bool) -> bool:
        """Where the file names it, once."""
        return pump in self._answers.measure and not again

    def wants_proposal(self) -> bool:
        """As the file says."""
        return self._answers.propose

    def wants_approval(self) -> bool:
        """Where the file holds the volume that proves reading."""
        return self._answers.highest_daily is not None

    def highest(self) -> str | None:
        """That of the file."""
        return self._answers.highest_daily

    def again(self, step: Callable[[], object]) -> None:
        """Take the step once."""
        step()

    def named(self) -> Sequence[str]:
        """The reservoirs it speaks of."""
        return sorted(self._answers.refills)

    def measured(self) -> Sequence[str]:
        """The pumps it wants measured, in its order."""
        return tuple(dict.fromkeys(self._answers.measure))


class Dialogue:
    """Answers from a person."""

    def tests(self, asked: str, judge: Judge) -> tuple[str, ...]:
        """A line each until an empty one; a refused line takes no other with it."""
        say(asked)
        words: list[str] = []
        while word := _ask("Test, like alkalinity=8.1 dKH; Enter when done"):
            try:
                judge((*words, word))
            except InputError as error:
                tell_again(error)
            else:
                words.append(word)
        return tuple(words)

    def method(self) -> str:
        """A word."""
        return _ask("With which kit or method; Enter for none")

    def refill(self, reservoir: str, asked: str) -> str:
        """A volume."""
        say(asked)
        return _ask(f"Filled {reservoir}? What it holds now, like 2 L; Enter for no")

    def wants_measured(self, pump: str, *, again: bool) -> bool:
        """Yes or no."""
        when = "again, now that it was refused" if again else "now"
        question = f"Measure {pump} {when}? No daemon may run meanwhile."
        return click.confirm(question, default=False, err=True)

    def wants_proposal(self) -> bool:
        """Yes or no."""
        return click.confirm("Propose a plan from the tests?", default=False, err=True)

    def wants_approval(self) -> bool:
        """Yes or no."""
        question = "Rehearse the files with faults, and approve them?"
        return click.confirm(question, default=False, err=True)

    def highest(self) -> str | None:
        """The approval asks for it."""
        return None

    def again(self, step: Callable[[], object]) -> None:
        """Until nothing is refused."""
        while True:
            try:
                step()
            except InputError as error:
                tell_again(error)
            else:
                return


def say(text: str) -> None:
    """A line for the person, beside the answer."""
    if text:
        click.echo(fitted(text, error_columns()), err=True)


def _ask(question: str) -> str:
    shown = fitted(question, error_columns())
    answer = click.prompt(shown, default="", show_default=False, err=True)
    return str(answer).strip()


def script_in(path: Path) -> Script:
    """The answers of a JSON file.

    Raises: InputError for one that cannot be read, or with everything wrong in it.
    """
    try:
        with path.open("rb") as file:
            content = file.read(_LARGEST_BYTES + 1)
        plain = json.loads(content, object_pairs_hook=_once)
        if len(content) > _LARGEST_BYTES or not isinstance(plain, dict):
            raise _unusable(path, "no JSON object of at most 64 KiB")
        return Script(VisitAnswers.model_validate_json(content))
    except OSError as error:
        raise _unusable(path, f"it cannot be read: {error.strerror}") from error
    except ValidationError as error:
        raise InputError(
            Finding(
                what=fault["msg"],
                where=f"{path}, {'.'.join(map(str, fault['loc'])) or NAME}",
                expected="tests, method, refills, measure, propose, highest_daily",
                do="Correct it; nothing was written.",
            )
            for fault in error.errors(include_url=False, include_input=False)
        ) from error
    except (ValueError, RecursionError) as error:
        raise _unusable(path, "it is not JSON, or holds a key twice") from error


def _once(pairs: list[tuple[str, object]]) -> Mapping[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError(NAME)
    return found


def _unusable(path: Path, what: str) -> InputError:
    return InputError(
        Finding(
            what=what,
            where=str(path),
            expected='answers like {"tests":["alkalinity=8.1 dKH"]}',
            do="Correct it; nothing was written.",
        )
    )
