"""Figures and places of the charts.

Floor 8. One subject: what is drawn. Laws here: a chart draws figures of the document
and no others; each says in words what it shows, for those who cannot see it; lines
differ in their dashes and rows in their place, never in colour alone.
"""

import json
from collections.abc import Mapping
from datetime import datetime, timedelta
from html import escape
from typing import Any
from zoneinfo import ZoneInfo

from slackwater.cli.report.words import in_unit, shown_level
from slackwater.water.parameters import parameter_named

Document = Mapping[str, Any]
MINUTES_AN_HOUR = 60
DATE_DIGITS = 10
SAMPLES_A_DAY = 4
MOST_POINTS = 200
ONE_DAY = timedelta(days=1)
LEAST_SHARE = 0.1
BEYOND = {"floor": "below the floor", "ceiling": "above the ceiling"}
UPTAKES = {
    "less": "with 30 % less",
    "same": "as believed",
    "more": "with 30 % more",
}


def chart_figures(document: Document) -> str:
    """All figures as JSON that may stand in a script element."""
    figures = {
        "forecasts": _forecasts(document),
        "day": _day(document),
        "shares": _shares(document),
    }
    text = json.dumps(figures, separators=(",", ":"), ensure_ascii=False)
    # No text of a file can end the element it stands in.
    return text.replace("<", "\\u003c")


def loaded_day(document: Document) -> str:
    """The local date of the decision trace; empty without one."""
    trace = document["trace"]
    return str(trace[0]["dose"]).partition("@")[2][:DATE_DIGITS] if trace else ""


def local_date(at: str, zone: str) -> str:
    """The date on the wall clock of a zone, of a moment in UTC."""
    return datetime.fromisoformat(at).astimezone(ZoneInfo(zone)).date().isoformat()


def _forecasts(document: Document) -> list[dict[str, object]]:
    """One chart for each tank and parameter that has a forecast."""
    found = []
    for tank in document["tanks"]:
        # A curve of some two hundred points is as fine as a screen.
        step = -(-len(tank["times"]) // MOST_POINTS)
        places = range(0, len(tank["times"]), step or 1)
        for band in tank["forecast"]:
            bounds: dict[str, object] = {"marks": []}
            if band["parameter"] == "alkalinity":
                bounds = {
                    "floor": tank["floor"],
                    "ceiling": tank["ceiling"],
                    "marks": _marks(tank),
                }
            found.append(
                {
                    "id": f"forecast-{tank['tank']}-{band['parameter']}",
                    "first": local_date(tank["times"][0], tank["zone"]),
                    "days": [place / SAMPLES_A_DAY for place in places],
                    "unit": band["unit"],
                    "span": _least_span(band["parameter"]),
                    **{
                        name: [band[name][place] for place in places]
                        for name in ("less", "same", "more")
                    },
                    **bounds,
                }
            )
    return found


def _marks(tank: Mapping[str, Any]) -> list[dict[str, object]]:
    """Where a forecast first leaves its bounds, in days since the chart begins."""
    begins = datetime.fromisoformat(tank["times"][0])
    return [
        {
            "bound": one["bound"],
            "day": round((datetime.fromisoformat(one["at"]) - begins) / ONE_DAY, 3),
            "words": f"from {local_date(one['at'], tank['zone'])[5:]}",
        }
        for one in tank["crossings"]
    ]


def _least_span(parameter: str) -> float:
    """What the scale of a chart shows at least, in the unit people use.

    Source: a tenth of the natural value, project limit.
    """
    natural = parameter_named(parameter, where="").natural
    return round(in_unit(parameter, natural or 0.0) * LEAST_SHARE, 6)


def _pumps(document: Document) -> list[str]:
    return sorted({day["pump"] for day in document["days"]})


def _day(document: Document) -> dict[str, object]:
    """When each pump would dose on the most loaded day, minutes after midnight."""
    day = loaded_day(document)
    doses = [dose for dose in document["doses"] if dose["local"].startswith(day)]
    pumps = _pumps(document)
    return {
        "id": "day",
        "pumps": pumps,
        "doses": [
            [
                int(dose["local"][11:13]) * MINUTES_AN_HOUR + int(dose["local"][14:16]),
                pumps.index(dose["pump"]),
            ]
            for dose in doses
            if day and dose["volume_ul"]
        ],
    }


def _shares(document: Document) -> dict[str, object]:
    """What each day takes of the daily cap of each pump, in percent."""
    pumps = _pumps(document)
    found = {
        (pumps.index(day["pump"]), _percent(day["volume_ul"], day["cap_ul"]))
        for day in document["days"]
    }
    return {
        "id": "shares",
        "pumps": pumps,
        "shares": [[percent, place] for place, percent in sorted(found)],
    }


def _percent(amount: int, cap: int) -> float:
    return round(amount * 100 / cap, 1) if cap else 0.0


def forecast_chart(tank: Mapping[str, Any], band: Mapping[str, Any]) -> str:
    """The figure of one forecast."""
    return chart(
        f"forecast-{tank['tank']}-{band['parameter']}",
        f"{tank['tank']}, {band['parameter']}, {band['unit']}",
        _forecast_words(tank, band),
    )


def _forecast_words(tank: Mapping[str, Any], band: Mapping[str, Any]) -> str:
    name = band["parameter"]
    less, same, more = (
        shown_level(name, band[uptake][-1]) for uptake in ("less", "same", "more")
    )
    bounds = ""
    if name == "alkalinity" and tank["floor"] is not None:
        bounds = (
            f" Floor {shown_level(name, tank['floor'])}, ceiling "
            f"{shown_level(name, tank['ceiling'])}: the two straight lines."
            f"{_crossing_words(tank)}"
        )
    return (
        f"From {shown_level(name, band['same'][0])} to {same} with the uptake as "
        f"believed (solid), {less} with 30 % less (long dashes), {more} with 30 % more "
        f"(dots).{bounds}"
    )


def _crossing_words(tank: Mapping[str, Any]) -> str:
    """When a line would first leave its bounds; empty where none does."""
    told = [
        f"{BEYOND[one['bound']]} from {local_date(one['at'], tank['zone'])} on "
        f"{UPTAKES[one['uptake']]}"
        for one in tank["crossings"]
    ]
    return f" Triangles: {', '.join(told)}." if told else ""


def day_chart(document: Document) -> str:
    """When each pump would dose on the most loaded day."""
    day = loaded_day(document)
    counts: dict[str, int] = {}
    for dose in document["doses"]:
        if dose["local"].startswith(day) and dose["volume_ul"]:
            counts[dose["pump"]] = counts.get(dose["pump"], 0) + 1
    told = ", ".join(f"{pump} {count} times" for pump, count in sorted(counts.items()))
    return chart(
        "day",
        f"Doses by pump on {day}, local time, one row for each pump",
        f"Would dose: {told}." if told else "No dose on this day.",
    )


def share_chart(document: Document) -> str:
    """Daily totals against the daily cap of each pump."""
    highest: dict[str, float] = {}
    for day in document["days"]:
        percent = _percent(day["volume_ul"], day["cap_ul"])
        highest[day["pump"]] = max(highest.get(day["pump"], 0.0), percent)
    told = ", ".join(f"{pump} {share} %" for pump, share in sorted(highest.items()))
    return chart(
        "shares",
        "Each day's total in percent of the pump's daily cap, one row for each pump",
        f"Highest day: {told}." if told else "No day doses anything.",
    )


def chart(identity: str, caption: str, words: str) -> str:
    """The place of a chart with what it shows in words."""
    name = escape(identity)
    return (
        f'<figure class="chart" data-chart="{name}">'
        f'<figcaption id="{name}-caption">{escape(caption)}</figcaption>'
        f'<div class="canvas" id="chart-{name}" role="img" '
        f'aria-labelledby="{name}-caption {name}-words"></div>'
        f'<p class="words" id="{name}-words">{escape(words)}</p></figure>\n'
    )
