"""The second screen: every table of the page.

Floor 8. One subject: sections of the page. Laws here: written from the document alone;
what is not there says so; the longest tables stand last.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from slackwater.cli.report.charts import (
    day_chart,
    forecast_chart,
    local_date,
    share_chart,
)
from slackwater.cli.report.dose_tables import dose_table, trace_table
from slackwater.cli.report.fault_tables import fault_sections
from slackwater.cli.report.full import LAYER_WORDS
from slackwater.cli.report.html import (
    Cell,
    Marked,
    columns,
    items,
    paragraph,
    section,
    share,
    table,
)
from slackwater.cli.report.words import (
    hours_words,
    number,
    seconds_words,
    shown_figure,
    shown_level,
)
from slackwater.water.show import show_volume

Document = Mapping[str, Any]
POINTS_A_WEEK = 28
MOST_ROWS = 13
_UNSCRIPTED = (
    "<noscript><p>Charts need a script; all their figures stand in the tables."
    "</p></noscript>"
)


def details(document: Document) -> str:
    """All sections, with a table of contents before them."""
    sections = list(_sections(document))
    links = "".join(
        f'<li><a href="#{identity}">{title}</a></li>' for identity, title, _ in sections
    )
    contents = f'<nav aria-label="Tables and charts"><ul>{links}</ul></nav>'
    return "\n".join(
        (contents, *(section(name, title, body) for name, title, body in sections))
    )


def _sections(document: Document) -> Iterator[tuple[str, str, str]]:
    yield "levels", "Where the water goes", _levels(document)
    yield "day", "A day of doses", day_chart(document)
    yield "totals", "Daily totals and caps", _totals(document)
    yield "compared", "Compared with the approved plan", _compared(document)
    yield "bottles", "Bottles", _bottles(document)
    yield "worst", "If a layer failed", _worst(document)
    yield "calendar", "Calendar", _calendar(document)
    yield from fault_sections(document)
    yield "trace", "Why each dose would be allowed", trace_table(document)
    yield "doses", "Every dose", dose_table(document)
    yield "void", "This report is void when any of these changes", _void(document)


def _levels(document: Document) -> str:
    tanks = document["tanks"]
    rows = [_tank_row(tank) for tank in tanks]
    heads = columns(
        "tank",
        ">to the floor, dosing stopped",
        ">to the ceiling, uptake stopped",
        ">salt left behind",
        ">salinity, no water changed",
    )
    return "\n".join(
        (
            *(
                forecast_chart(tank, band) + _weeks(tank, band)
                for tank in tanks
                for band in tank["forecast"]
            ),
            _UNSCRIPTED,
            table("Time left, and the salt the doses leave in the water", heads, rows),
        )
    )


def _tank_row(tank: Mapping[str, Any]) -> list[Cell]:
    known = "" if tank["salt_known"] else " at least"
    return [
        tank["tank"],
        _hours(tank["hours_to_floor"]),
        _hours(tank["hours_to_ceiling"]),
        f"{number(tank['salt_mg_per_l'])} mg/L{known}",
        f"+{number(tank['salinity_rise'])}",
    ]


def _hours(hours: float | None) -> str:
    return "not known" if hours is None else hours_words(hours)


def _weeks(tank: Mapping[str, Any], band: Mapping[str, Any]) -> str:
    """The figures of a chart, at most a dozen of its days."""
    last = len(tank["times"]) - 1
    weeks = -(-last // (POINTS_A_WEEK * MOST_ROWS)) or 1
    places = sorted({*range(0, last, weeks * POINTS_A_WEEK), last})
    name = band["parameter"]
    rows = [
        [
            local_date(tank["times"][place], tank["zone"]),
            *(
                shown_figure(name, band[uptake][place])
                for uptake in ("less", "same", "more")
            ),
        ]
        for place in places
    ]
    caption = f"{tank['tank']}, {name}, {band['unit']}: in figures"
    heads = columns("at midnight", ">30 % less uptake", ">as believed", ">30 % more")
    return table(caption, heads, rows, "long")


def _totals(document: Document) -> str:
    nearest = [
        [
            f"{near['cap']}, {near['subject']}",
            near["words"].partition(" of ")[0],
            near["words"].partition(" of ")[2],
            share(near["reached"], near["ceiling"]),
            near["dose"],
        ]
        for near in document["closest"]
    ]
    gaps = [
        [
            f"{gap['pump']} after {gap['other']}",
            seconds_words(gap["smallest_s"]),
            seconds_words(gap["least_s"]),
            gap["dose"],
        ]
        for gap in document["gaps"]
    ]
    runs = [
        [
            run["pump"],
            f"{run['run_ms'] / 1000:.1f} s",
            f"{run['cut_ms'] / 1000:.1f} s",
            share(run["run_ms"], run["cut_ms"]),
        ]
        for run in document["runs"]
    ]
    return "\n".join(
        (
            share_chart(document),
            table("What each pump would dose a day", *_days(document)),
            table(
                "Closest approach to each cap",
                columns("cap", ">reached", ">ceiling", ">used", "by"),
                nearest,
            ),
            table(
                "Smallest pause between solutions kept apart",
                columns("pumps", ">smallest", ">at least", "by"),
                gaps,
            )
            if gaps
            else paragraph("No two solutions of this plan are kept apart."),
            table(
                "Longest run of each pump, and when its node cuts it",
                columns("pump", ">longest run", ">cut", ">used"),
                runs,
            ),
        )
    )


def _days(document: Document) -> tuple[Any, list[list[Cell]]]:
    """Days in a row with equal figures on one line."""
    stretches: dict[str, list[list[Mapping[str, Any]]]] = {}
    for day in document["days"]:
        runs = stretches.setdefault(day["pump"], [])
        if runs and runs[-1][-1]["volume_ul"] == day["volume_ul"]:
            runs[-1].append(day)
        else:
            runs.append([day])
    rows: list[list[Cell]] = [
        [
            pump,
            _dates(run),
            show_volume(run[0]["volume_ul"]),
            show_volume(run[0]["cap_ul"]),
            share(run[0]["volume_ul"], run[0]["cap_ul"]),
        ]
        for pump, runs in sorted(stretches.items())
        for run in runs
    ]
    return columns("pump", "dosing days", ">a day", ">cap", ">used"), rows


def _dates(run: list[Mapping[str, Any]]) -> str:
    first, last = run[0]["date"], run[-1]["date"]
    return first if first == last else f"{first} to {last} ({len(run)})"


def _compared(document: Document) -> str:
    rows = [_change_row(change) for change in document["changes"]]
    touched = [
        f"Pump {pump} is not the one approved before: {', '.join(why)}."
        for pump, why in document["touched"].items()
    ]
    if not rows:
        lines = next(
            item["lines"] for item in document["summary"] if item["key"] == "changes"
        )
        told = (paragraph(f"{line[0].upper()}{line[1:]}.") for line in lines)
        return "\n".join((*told, items(touched)))
    return "\n".join(
        (
            table(
                "Largest day of each pump and parameter, biggest change first",
                columns("largest day of", ">before", ">after", ">ratio"),
                rows,
            ),
            items(touched),
        )
    )


def _change_row(change: Mapping[str, Any]) -> list[Cell]:
    ratio = "new" if change["ratio"] is None else f"x {change['ratio']}"
    if "before_ul" in change:
        subject = change["pump"] or f"{change['tank']} {change['parameter']}"
        old, new = (show_volume(change[key]) for key in ("before_ul", "after_ul"))
        return [subject, old, new, ratio]
    unit = change["unit"]
    return [
        f"{change['tank']} {change['parameter']}",
        f"{number(float(change['before']))} {unit}",
        f"{number(float(change['after']))} {unit}",
        ratio,
    ]


def _bottles(document: Document) -> str:
    visit = document["visit"]
    spare = "nothing" if visit else "not asked"
    rows: list[list[Cell]] = [
        [
            bottle["reservoir"],
            show_volume(bottle["content_ul"]),
            show_volume(bottle["per_day_ul"]),
            _lasts(bottle),
            bottle["empty_on"] or "not in sight",
            show_volume(bottle["short_ul"]) if bottle["short_ul"] else spare,
        ]
        for bottle in document["bottles"]
    ]
    lacks = f">lacks until the {document['visit_is']} on {visit}"
    if not visit:
        lacks = ">lacks until a visit"
    heads = columns("bottle", ">holds", ">a day", ">lasts", "empty on", lacks)
    note = "" if visit else paragraph("No visit was named; --visit DATE names one.")
    return "\n".join((table("What is drawn from each bottle", heads, rows), note))


def _lasts(bottle: Mapping[str, Any]) -> str:
    lasts, low, high = (bottle[f"lasts_days{bound}"] for bound in ("", "_low", "_high"))
    if lasts is None:
        return "nothing is drawn for good"
    between = "" if low is None or high is None else f" ({low:.0f} to {high:.0f})"
    return f"{number(lasts)} days{between}"


def _worst(document: Document) -> str:
    rows: list[list[Cell]] = [
        [
            case["pump"],
            LAYER_WORDS[case["layer"]],
            show_volume(case["volume_ul"]),
            ", ".join(
                f"{added['parameter']} +{number(float(added['added']))} {added['unit']}"
                for added in case["adds"]
            )
            or "nothing that is counted",
            "unchanged"
            if case["alkalinity"] is None
            else shown_level("alkalinity", case["alkalinity"]),
            _tolerable(case),
        ]
        for case in sorted(document["worst_cases"], key=_gravest)
    ]
    heads = columns("pump", "if", ">gives", "adds", ">alkalinity then", "that is")
    note = paragraph(
        "Only alkalinity is judged: no ceiling is stated for anything else."
    )
    return "\n".join(
        (table("What could flow, and what that would do", heads, rows), note)
    )


def _gravest(case: Mapping[str, Any]) -> tuple[bool, float, str, int]:
    """Pumps that lift alkalinity first, the highest in front; others by what flows."""
    level = case["alkalinity"]
    return level is None, -(level or 0.0), case["pump"], -case["volume_ul"]


def _tolerable(case: Mapping[str, Any]) -> Cell:
    if case["tolerable"] is None:
        return "not judged"
    if case["tolerable"]:
        return "below the ceiling"
    return Marked('<strong class="beyond">! above the ceiling</strong>')


def _calendar(document: Document) -> str:
    rows: list[list[Cell]] = [
        [
            change["date"],
            f"{change['zone']} goes {change['way']}",
            str(change["doses"]),
            str(change["missed"]),
            show_volume(change["volume_ul"]),
            "; ".join(change["left_out"]) or "nothing",
        ]
        for change in document["clock_changes"]
    ]
    heads = columns("day", "clocks", ">doses", ">missed", ">in all", "left out")
    return "\n".join(
        (
            table("The next clock changes, rehearsed as well", heads, rows)
            if rows
            else paragraph("No clock change lies beyond the days of this rehearsal."),
            items(document["left_out"]) or paragraph("Nothing is left out."),
        )
    )


def _void(document: Document) -> str:
    rows: list[list[Cell]] = [
        [part["part"], Marked(f"<code>{_code(part['is'])}</code>")]
        for part in document["void_if_changed"]
    ]
    return table("What this report stands on", columns("part", "is"), rows)


def _code(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")
