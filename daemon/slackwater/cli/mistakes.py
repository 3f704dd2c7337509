"""Wrong words at the command line, and files this user may not touch.

Floor 8. One subject: turning what the parser and the system say into findings. Laws
here: a finding names the word that is wrong and what would be right; help loads this,
so nothing heavy is loaded here.
"""

import re
from collections.abc import Sequence
from difflib import get_close_matches
from itertools import pairwise

import click

from slackwater.cli.document import WRONG, Answer, failed
from slackwater.cli.verbs import BY_NAME, PROGRAM
from slackwater.errors import Finding, SlackwaterError

# The parser's own words behind the value say again what is expected.
_VALUE = re.compile(r"(.+?) (?:is not|does not match) ")
# The parser takes an amount with a minus for an option; none begins with a digit.
_NEGATIVE = re.compile(r"-\.?[0-9]")
# What stands behind these is no verb, however much it looks like one.
_TAKE_A_VALUE = frozenset({"--config", "--state"})
# What others call the same, and no slip of the hand would lead to.
_OTHERWISE = {"log": "ledger", "journal": "ledger", "history": "ledger", "start": "run"}


def failure(error: Exception, words: Sequence[str]) -> Answer:
    """What is told of anything that was raised; never a traceback."""
    if isinstance(error, SlackwaterError):
        return failed(error)
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        return Answer(raw=(f"{error.format_message()}\n",), exit_code=WRONG)
    return Answer(findings=[_finding(error, words)], exit_code=WRONG)


def _finding(error: Exception, words: Sequence[str]) -> Finding:
    if isinstance(error, click.Abort):
        return _ended()
    if isinstance(error, click.ClickException):
        return _usage(error, words)
    if isinstance(error, OSError):
        return unusable(error, PROGRAM)
    return _fault(error)


def unusable(error: OSError, place: str) -> Finding:
    """A file, directory or device that this user or this machine cannot use."""
    where = str(error.filename or place)
    if isinstance(error, PermissionError):
        return Finding(
            what="this user may not read or write it",
            where=where,
            expected="the user the daemon runs as, or one of its group",
            do="Run it as that user, like `sudo -u slackwater slackwater status`, or "
            "give this user the right.",
        )
    return Finding(
        what=f"the system refused: {error.strerror or type(error).__name__}",
        where=where,
        expected="a file, a directory or a device that works",
        do="Look at the path, at free space and at the health of the disk.",
    )


def _usage(error: click.ClickException, words: Sequence[str]) -> Finding:
    """What is wrong with the words the program was started with."""
    place = " ".join((PROGRAM, *[word for word in words if word in BY_NAME][:1]))
    see = f"See `{place} --help`."
    parameter = error.param if isinstance(error, click.BadParameter) else None
    if isinstance(error, click.MissingParameter) and parameter is not None:
        return _missing(parameter, place, see)
    if isinstance(error, click.BadParameter) and parameter is not None:
        return _bad(error.message, parameter, place, see)
    if isinstance(error, click.NoSuchOption) and (found := _negative(error, words)):
        return _below_nothing(found, place, see)
    return Finding(
        what=error.format_message().rstrip("."),
        where=" ".join((PROGRAM, *words)),
        expected="a verb with its options",
        do=f"{_near(words)}{see}",
    )


def _negative(error: click.NoSuchOption, words: Sequence[str]) -> str:
    """The amount with a minus that was taken for an option; "" where there is none."""
    named = (word for word in words if word.startswith(error.option_name))
    return next((word for word in named if _NEGATIVE.match(word)), "")


def _below_nothing(amount: str, place: str, see: str) -> Finding:
    return Finding(
        what=f'"{amount}" is negative',
        where=place,
        expected="an amount of 0 or more, with its unit",
        do=f"Nothing was written, and no minus takes back what was. {see}",
    )


def _near(words: Sequence[str]) -> str:
    """The verb a slip of the hand may have meant."""
    if any(word in BY_NAME for word in words):
        return ""
    typed = [
        word
        for before, word in pairwise(("", *words))
        if not word.startswith("-") and before not in _TAKE_A_VALUE
    ][:1]
    near = [
        one
        for word in typed
        for one in (_OTHERWISE.get(word), *get_close_matches(word, BY_NAME, n=1))
        if one is not None
    ]
    return f"Did you mean `{PROGRAM} {near[0]}`? " if near else ""


def _missing(parameter: click.Parameter, place: str, see: str) -> Finding:
    name = _name(parameter)
    return Finding(
        what=f"{name} is missing",
        where=place,
        expected=_accepted(parameter) or f"{place} {name}",
        do=see,
    )


def _bad(message: str, parameter: click.Parameter, place: str, see: str) -> Finding:
    is_option = isinstance(parameter, click.Option)
    expected = _accepted(parameter)
    value = _VALUE.match(message) if expected else None
    what = f"{value[1]} is not accepted" if value else message.rstrip(".")
    return Finding(
        what=what[:1].lower() + what[1:],
        where=_name(parameter) if is_option else place,
        expected=expected or "another value",
        do=see,
    )


def _name(parameter: click.Parameter) -> str:
    """The longest spelling of an option, or an argument as help writes it."""
    if isinstance(parameter, click.Option):
        return max(parameter.opts, key=len)
    return parameter.human_readable_name.upper()


def _accepted(parameter: click.Parameter) -> str:
    """What a parameter takes, in words; empty when nothing can be said."""
    kind = parameter.type
    if isinstance(kind, click.Choice):
        return f"one of {', '.join(map(str, kind.choices))}"
    if isinstance(kind, click.IntRange):
        return _whole(kind)
    if isinstance(kind, click.DateTime):
        return "a date like 2026-05-03"
    if isinstance(kind, click.Path):
        return "a file" if kind.file_okay else "a directory that is there"
    words = getattr(parameter, "help", None)
    return words.partition("  [")[0].rstrip(".") if words else ""


def _whole(kind: click.IntRange) -> str:
    if kind.max is None:
        return f"a whole number, {kind.min} or more"
    return f"a whole number from {kind.min} to {kind.max}"


def _ended() -> Finding:
    return Finding(
        what="the questions were not answered to the end",
        where="standard input",
        expected="an answer to each question",
        do="Nothing was written. Start again, or give the answers as options.",
    )


def _fault(error: Exception) -> Finding:
    words = " ".join(str(error).split())
    return Finding(
        what=f"an unexpected fault: {type(error).__name__}: {words[:200]}",
        where=PROGRAM,
        expected="a program without faults",
        do="Report it with the words above. What was not confirmed was not written.",
    )
