"""The manual page: every verb, in the words of its help, in a form that man takes."""

import re

import click
import pytest

from slackwater.cli.main import program
from slackwater.cli.manual import page_of
from slackwater.cli.verbs import SECTIONS, VERBS
from tests.cli.run_program import run


def plain(page: str) -> str:
    """The words of a page without what is for roff."""
    text = page.replace("\\fB", "").replace("\\fR", "")
    for mark, sign in (("\\-", "-"), ("\\(aq", "'"), ("\\(dq", '"'), ("\\e", "\\")):
        text = text.replace(mark, sign)
    text = re.sub(r"^\.[A-Z]+ ?", "", text, flags=re.MULTILINE)
    return " ".join(text.replace("\\&", "").split())


def test_says_all_that_the_help_of_every_verb_says() -> None:
    """Purpose, text, options and cautions, word for word."""
    page = plain(page_of(program))
    for verb in VERBS:
        command = program.get_command(click.Context(program), verb.name)
        assert command is not None
        for text in (command.help, command.epilog):
            for part in (text or "").replace("`", "").split("\n\n"):
                assert " ".join(part.split()) in page
        for option in command.params:
            assert option.opts[-1] in page or isinstance(option, click.Argument)


def test_has_the_chapters_a_manual_page_has() -> None:
    """In the order of man-pages(7), with our three sections of verbs between them."""
    found = re.findall(r'^\.SH "?([A-Z ]+)"?$', page_of(program), re.MULTILINE)
    sections = [section.upper() for section in SECTIONS]
    head = ["NAME", "SYNOPSIS", "DESCRIPTION", "OPTIONS"]
    assert [*head, *sections, "EXIT STATUS", "FILES"] == found


def test_is_the_same_each_time_and_whole_in_the_document() -> None:
    """No date in it; the text form ends with its last line."""
    page = page_of(program)
    assert page == run("manual").out
    assert page == run("manual", "--json").document["page"]


def test_no_text_becomes_an_order() -> None:
    """A line that begins with a dot or an apostrophe is one of ours."""
    orders = {".TH", ".nh", ".ad", ".SH", ".SS", ".PP", ".TP"}
    for line in page_of(program).splitlines():
        assert not line.startswith("'")
        assert not line.startswith(".") or line.split(" ")[0] in orders


@pytest.mark.parametrize("text", [".so /etc/passwd", "'br", "a\\b", 'say "no"'])
def test_a_text_of_any_kind_stays_text(text: str) -> None:
    """A help that begins like an order, or holds what roff would read."""
    strange = click.Command("strange", help=f"Title.\n\n{text}", epilog=text)
    page = page_of(strange)
    assert text in plain(page)
    assert not any(line.startswith((".so", "'br")) for line in page.splitlines())


@pytest.mark.parametrize(
    ("verb", "words"),
    [("visit", "[default: 60; 5 to 240]"), ("rehearse", "[1 to 3660]")],
)
def test_ranges_are_told_in_words(verb: str, words: str) -> None:
    """In the help and on the page, and nowhere with signs of arithmetic."""
    assert words in " ".join(run(verb, "--help").out.split())
    page = plain(page_of(program))
    assert words in page
    assert "<=x" not in page
    assert "x>=" not in page
