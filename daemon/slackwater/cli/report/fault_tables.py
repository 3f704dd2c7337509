"""Faults and interlocks on the page.

Floor 8. One subject: what was tried, and what stops what. Laws here: every case of the
list is on the page, tried or not; a cell says what a pump would do in a word.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from slackwater.cli.report.html import Cell, columns, paragraph, table
from slackwater.cli.report.summary import NOTHING
from slackwater.cli.report.words import seconds_words
from slackwater.facts.reasons import SENTENCES, Code
from slackwater.water.show import show_volume

Document = Mapping[str, Any]
NONE_NEEDED = "no reason was needed"


def fault_sections(document: Document) -> Iterator[tuple[str, str, str]]:
    """The two sections; without faults they say how to get them."""
    if document["faults"] is None:
        told = paragraph(
            "No fault was tried. `slackwater rehearse --faults` tries them."
        )
        yield "faults", "Faults", told
        return
    yield "faults", "Faults", _faults(document)
    yield "interlocks", "What stops what", _interlocks(document)


def _faults(document: Document) -> str:
    tried = [one for one in document["faults"] if not one["not_tried"]]
    left = [one for one in document["faults"] if one["not_tried"]]
    heads = columns(
        "fault",
        ">given",
        ">missed",
        ">held",
        ">most in 24 h",
        ">safe after",
        "reason raised",
        "and",
    )
    told = table(
        "What each fault did, from its strike to a day and two hours after it",
        heads,
        [_fault(one) for one in tried],
    )
    if not left:
        return told
    rows: list[list[Cell]] = [[one["title"], one["not_tried"]] for one in left]
    return f"{told}\n{table('Not tried', columns('fault', 'why'), rows)}"


def _fault(one: Mapping[str, Any]) -> list[Cell]:
    safe = one["safe_after_s"]
    wrong = [*one["carried"], *one["over_caps"]]
    reasons = one["reasons"]
    return [
        one["title"],
        str(one["given"]),
        _missed(one),
        str(one["held"]),
        f"{show_volume(one['highest_24_h_ul'])} of {show_volume(one['cap_24_h_ul'])}",
        "not in 26 h" if safe is None else seconds_words(safe),
        SENTENCES[Code(reasons[0])] if reasons else NONE_NEEDED,
        "; ".join(wrong) or NOTHING,
    ]


def _missed(one: Mapping[str, Any]) -> str:
    if one["undecided"]:
        return f"{one['missed']} and {one['undecided']} undecided"
    return str(one["missed"])


def _interlocks(document: Document) -> str:
    """Rows are inputs and their states, columns the pumps."""
    rows = document["interlocks"]
    pumps = sorted({pump for row in rows for pump in row["answers"]})
    told: list[list[Cell]] = [
        [f"{row['input']}: {row['state']}", *_answers(row, pumps)]
        for row in sorted(rows, key=_place)
    ]
    if not pumps:
        return paragraph("No interlock could be forced with this plan.")
    good: list[Cell] = ["every input: good", *("runs" for _ in pumps), "always"]
    heads = columns("input: state", *pumps, "last forced")
    return "\n".join(
        (
            table("What each pump does for each input and state", heads, [good, *told]),
            paragraph(
                "runs: the next dose is given whole. shortens: no more than the base, "
                "which makes up for most of what is taken up; a dose that is no "
                "larger than the base runs on. stops: no dose."
            ),
        )
    )


def _answers(row: Mapping[str, Any], pumps: list[str]) -> list[Cell]:
    answers = row["answers"]
    if not answers:
        return [*("not tried" for _ in pumps), f"never: {row['not_tried']}"]
    return [*(answers.get(pump, "") for pump in pumps), row["forced"]]


def _place(row: Mapping[str, Any]) -> tuple[str, str]:
    return row["input"], row["state"]
