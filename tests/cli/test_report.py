"""`report`: a month of a tank, and by whom."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from slackwater.cli.month import month_of
from slackwater.errors import InputError
from slackwater.facts.events import DoseMissed, DoseSealed, DoseVoided
from slackwater.facts.reasons import Code, because
from slackwater.facts.waters import WaterChanged
from slackwater.ledger.store import LedgerFile
from slackwater.outside.settings import read_machine
from slackwater.water.parameters import PARAMETERS
from tests.cli.stage import Stage, stage_of
from tests.cli.test_import import REPORT, VALUES, at, day
from tests.ledger.samples import made
from tests.ledger.years import DOSE_UL, end_of, intent

BERLIN = "Europe/Berlin"


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with tests by two people, and a hold."""
    made = stage_of(tmp_path)
    for value, who in (("8.4", "mara"), ("7.9", "jon"), ("8.1", "mara")):
        words = (f"alkalinity={value} dKH", "--by", who, "--method", "drops")
        # Half a dKH apart within minutes: each of them read so.
        assert 0 == made.run("record", *words, "--confirm").code
    assert 0 == made.run("hold", "--by", "jon", "--note", "cleaning").code
    return made


def only(document: dict[str, object], name: str) -> dict[str, object]:
    """The one part of that name."""
    found = document[name]
    assert isinstance(found, list)
    assert 1 == len(found)
    assert isinstance(found[0], dict)
    return found[0]


def test_a_month_begins_and_ends_on_the_wall_clock() -> None:
    """The month in which clocks go forward is an hour shorter (IANA tz, Berlin)."""
    now = datetime(2026, 4, 15, tzinfo=UTC)
    march = month_of("2026-03", BERLIN, now)
    assert datetime(2026, 2, 28, 23, tzinfo=UTC) == march.begins
    assert datetime(2026, 3, 31, 22, tzinfo=UTC) == march.ends
    assert timedelta(days=31, hours=-1) == march.ends - march.begins
    assert "2026-04" == month_of(None, BERLIN, now).text
    december = month_of("2025-12", BERLIN, now)
    assert datetime(2025, 12, 31, 23, tzinfo=UTC) == december.ends


def test_which_month_it_is_is_asked_of_the_wall_clock() -> None:
    """An hour before midnight in London it is the next month in Berlin."""
    now = datetime(2026, 4, 30, 22, 30, tzinfo=UTC)
    assert "2026-05" == month_of(None, BERLIN, now).text
    assert "2026-04" == month_of(None, "UTC", now).text


@pytest.mark.parametrize(
    "text",
    [
        *("", "2026", "2026-00", "2026-13", "26-05", "2026-5", "2026-05-01", "2026-06"),
        *("0000-01", "May 2026", "\u0662026-05", "-026-05", "9999-12"),
        *("0001-01", "1999-12"),
    ],
)
def test_what_is_no_month_that_has_begun_is_refused(text: str) -> None:
    """One clear error."""
    with pytest.raises(InputError):
        month_of(text, BERLIN, datetime(2026, 5, 31, tzinfo=UTC))


def test_values_are_first_last_and_extremes(stage: Stage) -> None:
    """Of what stands; what was struck stays in the list, marked, and in no figure."""
    tank = only(stage.run("report", "--json").document, "tanks")
    values = only(tank, "values")
    assert ("alkalinity", "hand", 3) == (
        values["parameter"],
        values["from"],
        values["count"],
    )
    dkh = 20 / 56.077
    shown = [float(str(values[n])) for n in ("first", "last", "lowest", "highest")]
    assert (
        pytest.approx([8.4 * dkh, 8.1 * dkh, 7.9 * dkh, 8.4 * dkh], rel=1e-4) == shown
    )
    tests = tank["tests"]
    assert isinstance(tests, list)
    highest = max(tests, key=lambda one: float(one["level"]))
    why = ("--strike", highest["id"], "--why", "a slip", "--by", "mara")
    assert 0 == stage.run("record", *why).code
    again = only(stage.run("report", "--json").document, "tanks")
    assert 2 == only(again, "values")["count"]
    told = again["tests"]
    assert isinstance(told, list)
    assert 3 == len(told)


def test_what_was_not_seen_stands_below_its_limit(tmp_path: Path) -> None:
    """Iron below 0.5 ug/L is "<0.50", beside it 0.9 as it was read."""
    bare = stage_of(tmp_path)
    assert 0 == bare.run("record", "iron=<0.5 ug/L").code
    alone = only(bare.run("report", "--json").document, "tanks")
    row = ("iron", "ug/L", "hand", "1", *4 * ["<0.50"], "-")
    assert row == tuple(_row(bare.run("report").out, "iron"))
    assert ["first", "last", "lowest", "highest"] == only(alone, "values")["below"]
    assert 0 == bare.run("record", "iron=0.9 ug/L", "--confirm").code
    assert ["<0.50", "0.90", "<0.50", "0.90"] == _row(bare.run("report").out, "iron")[
        4:8
    ]


def _row(page: str, name: str) -> list[str]:
    """The cells of the first row that begins with a name."""
    lines = (line.split() for line in page.splitlines())
    return next(words for words in lines if words and words[0] == name)


def test_a_month_lists_a_report_in_the_order_of_parameters(tmp_path: Path) -> None:
    """Its values have one time; their ids, which are chance, order nothing."""
    bare = stage_of(tmp_path)
    words = ("--tank", "reef", "--sampled-at", at(bare))
    told = bare.run("import", REPORT, *words)
    assert 0 == told.code, told.err
    month = f"{day(bare).astimezone(ZoneInfo('Europe/Berlin')):%Y-%m}"
    pages = bare.run("report", month, "--json").document["tanks"]
    assert isinstance(pages, list)
    (page,) = pages
    listed = [one["parameter"] for one in page["tests"]]
    assert VALUES == len(listed)
    ordered = [name for name in PARAMETERS if name in listed]
    assert ordered == listed
    assert ordered == [one["parameter"] for one in page["values"]]


def test_every_change_has_its_person(stage: Stage) -> None:
    """On the page and in the document; the page fits 80 columns and has a signature."""
    page = stage.run("report")
    assert 0 == page.code
    assert all(word in page.out for word in ("mara", "jon", "HOLD", "Name ____"))
    assert max(map(len, page.out.splitlines())) < 80
    tank = only(stage.run("report", "--json").document, "tanks")
    changes = tank["changes"]
    assert isinstance(changes, list)
    assert {"keeper", "jon"} == {one["by"] for one in changes}


class Text(HTMLParser):
    """The words of a page, and what it would load."""

    def __init__(self) -> None:
        """Begin with nothing."""
        super().__init__()
        self.words: list[str] = []
        self.loads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what points elsewhere."""
        self.loads += [f"{tag} {n}" for n, _ in attrs if n in ("src", "href", "action")]
        if tag == "script":
            self.loads.append(tag)

    def handle_data(self, data: str) -> None:
        """Keep a cell."""
        self.words.append(data)


def test_what_was_called_off_after_the_month_is_not_told_as_made(stage: Stage) -> None:
    """On the page and in the document of the month in which it was announced."""
    stamp = stage.stamp()
    stamp["at"] -= timedelta(days=40)
    stage.append(
        WaterChanged(
            **stamp,
            id="w-1",
            tank="reef",
            changed_at=stamp["at"],
            volume_ul=40_000_000,
            by="jon",
        )
    )
    assert 0 == stage.run("water-change", "--cancel", "w-1", "--by", "mara").code
    month = f"{stamp['at'].astimezone(ZoneInfo(BERLIN)):%Y-%m}"
    tank = only(stage.run("report", month, "--json").document, "tanks")

    text = "40 L of water changed; called off"
    assert text == only(tank, "changes")["text"]
    assert text in " ".join(stage.run("report", month).out.split())


def test_the_page_for_a_browser_holds_the_same_and_loads_nothing(
    stage: Stage, tmp_path: Path
) -> None:
    """A note with markup in it stays words; an older page is written over."""
    note = "<script>alert(1)</script> & co"
    assert 0 == stage.run("hold", "--by", "jon", "--note", note).code
    path = tmp_path / "may.html"
    for _ in range(2):
        assert 0 == stage.run("report", "--html", path).code
    page = Text()
    page.feed(path.read_text("utf-8"))
    assert [] == page.loads
    assert any(note in words for words in page.words)
    assert "8.40" in page.words
    foreign = tmp_path / "mine.txt"
    foreign.write_text("mine", "utf-8")
    assert 2 == stage.run("report", "--html", foreign).code
    assert "mine" == foreign.read_text("utf-8")


def test_doses_are_counted_by_what_became_of_them(stage: Stage) -> None:
    """Given, unknown and missed apart; the sum of what is believed, and what it adds.

    The effect by hand: 5 000 uL at the sample's strength in its net volume.
    """
    at = stage.stamp()["at"]
    moments = [at - timedelta(minutes=n) for n in range(5)]
    clocks = stage.stamp()
    for moment, believed_ul in ((moments[0], 1900), (moments[1], 1100)):
        stage.append(
            replace(intent("carbonate", moment), **clocks),
            replace(end_of("carbonate", moment, believed_ul), **clocks),
        )
    unknown, voided, missed = (intent("carbonate", one) for one in moments[2:])
    reasons = (because(Code.NODE_SILENT),)
    stage.append(
        replace(unknown, **clocks),
        DoseSealed(**clocks, attempt=unknown.command.attempt, reasons=reasons),
        replace(voided, **clocks),
        DoseVoided(**clocks, attempt=voided.command.attempt, reasons=reasons),
        DoseMissed(**clocks, dose=missed.dose, reasons=reasons),
    )
    tank = only(stage.run("report", "--json").document, "tanks")
    doses = only(tank, "doses")
    assert (3, 1, 2, {"node-silent": 2}) == (
        doses["doses"],
        doses["unknown"],
        doses["missed"],
        doses["missed_reasons"],
    )
    assert 3000 + DOSE_UL == doses["believed_ul"]
    machine = read_machine(stage.config)
    per_ul = machine.solutions["carbonate"].effects["alkalinity"]
    litres = machine.tanks["reef"].net_ul / 1e6
    dkh = (3000 + DOSE_UL) * per_ul / 1e9 / litres * 56.077 / 20
    added = tank["added"]
    assert isinstance(added, dict)
    assert pytest.approx(dkh, rel=1e-3) == float(added["alkalinity"])
    page = stage.run("report").out
    assert "1 unknown, 2 node-silent" in page
    assert "not made up" in page


def test_what_shadow_imagined_is_never_added(stage: Stage) -> None:
    """It stands apart, says so, and adds nothing to the water."""
    clocks = stage.stamp()
    moment = clocks["at"]
    first = replace(made(), **clocks, ledger_id="shadow")
    with LedgerFile.create(stage.state / "shadow.ledger", first, "shadow") as aside:
        aside.append(
            [
                replace(intent("carbonate", moment), **clocks),
                replace(end_of("carbonate", moment), **clocks),
            ]
        )
    tank = only(stage.run("report", "--json").document, "tanks")
    doses = only(tank, "doses")
    assert (True, 1) == (doses["imagined"], doses["doses"])
    assert {} == tank["added"]
    assert "would have dosed" in stage.run("report").out
