"""The two long tables of the page: decisions and doses.

Floor 8. One subject: one row for each dose. Laws here: written from the document alone;
where not every dose fits, the unusual ones stand first and the page says how many there
are.
"""

from collections.abc import Mapping
from typing import Any

from slackwater.cli.report.charts import loaded_day
from slackwater.cli.report.html import Cell, columns, paragraph, table
from slackwater.facts.reasons import SENTENCES, Code
from slackwater.water.show import show_volume

Document = Mapping[str, Any]
# The page stays below a megabyte: so many doses at most, the unusual ones always.
MOST_DOSES = 6_000


def trace_table(document: Document) -> str:
    """The decisions of the most loaded day, folded away."""
    if not document["trace"]:
        return paragraph("No dose is due.")
    rows: list[list[Cell]] = [
        [
            row["local"][11:],
            row["pump"],
            show_volume(row["volume_ul"]) if row["volume_ul"] else "missed",
            show_volume(row["charged_day_ul"]),
            show_volume(row["charged_24_h_ul"]),
            show_volume(row["cap_day_ul"]),
            f"{row['beat_age_s']:g} s",
            show_volume(row["budget_ul"]),
            "no probe"
            if row["reading_age_s"] is None
            else f"{row['reading_age_s']:g} s",
            "; ".join(SENTENCES[Code(code)] for code in row["reasons"]) or "allowed",
        ]
        for row in document["trace"]
    ]
    heads = columns(
        "at",
        "pump",
        ">dose",
        "~>charged that day",
        ">in 24 h",
        "~>cap",
        "~>beat is old",
        "~>node's budget",
        "~>reading is old",
        "because",
    )
    told = table(
        f"Decisions of {loaded_day(document)}, the most loaded day, each before it "
        "was charged",
        heads,
        rows,
        "long",
    )
    return f"<details><summary>{len(rows)} decisions</summary>\n{told}\n</details>"


def dose_table(document: Document) -> str:
    """Every dose, with a field to find one."""
    doses = document["doses"]
    shown = doses
    note = f"All {len(doses)} doses."
    if len(doses) > MOST_DOSES:
        unusual = [dose for dose in doses if dose["verdict"] != "granted"]
        shown = [*unusual, *doses][:MOST_DOSES]
        note = (
            f"{len(shown)} of {len(doses)} doses, those that would be shortened or "
            "missed first; --json has every one."
        )
    heads = columns(
        "due",
        "pump",
        ">dose",
        "~>in 24 h",
        "~>of the cap",
        "~>bottle holds",
        "would be",
    )
    search = (
        '<p class="search" hidden><label for="search">Find doses by date, time, pump '
        'or verdict</label> <input id="search" type="search" autocomplete="off"> '
        '<output id="found" for="search" aria-live="polite"></output></p>'
    )
    rows = (_dose_row(dose) for dose in shown)
    return "\n".join(
        (
            paragraph(note),
            _old(document),
            search,
            table("Every dose in order", heads, rows, "long"),
        )
    )


def _old(document: Document) -> str:
    """Which of them somebody else gives for now; nothing where nobody does."""
    lines = [row["line"] for row in document["old_doser"]]
    if not lines:
        return ""
    return paragraph(
        f"Those of {', '.join(lines)} are given by the old doser until each line is "
        "taken over."
    )


def _dose_row(dose: Mapping[str, Any]) -> list[Cell]:
    percent = dose["percent_of_day_cap"]
    reasons = " ".join(reason["text"] for reason in dose["reasons"])
    return [
        f"{dose['weekday']} {dose['local']}",
        dose["pump"],
        show_volume(dose["volume_ul"]),
        show_volume(dose["last_24_h_ul"]),
        "" if percent is None else f"{percent:g} %",
        show_volume(dose["left_ul"]),
        f"{dose['verdict']}. {reasons}" if reasons else dose["verdict"],
    ]
