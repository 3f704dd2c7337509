"""`setup`: answers become files, an access list and a ledger, whole or not at all."""

import re
import tomllib
from pathlib import Path

import pytest

from slackwater.facts.events import LedgerMade
from slackwater.ledger.store import LedgerFile
from slackwater.outside.settings import read_broker, read_machine, read_plan
from slackwater.service.memory import LIVE_NAME
from tests.cli.run_program import Outcome, run
from tests.cli.stage import Stage

ANSWERS = """\
[tank]
id = "reef"
name = "Invented reef"
net_volume = "200 L"
zone = "Europe/Berlin"
targets = { alkalinity = "8.0 dKH" }
[tank.uptake]
alkalinity = { estimate = "1.0 dKH/day", low = "0.8 dKH/day" }
[tank.caps]
alkalinity = { gross = "1.8 dKH/day", net_rise = "0.5 dKH/day" }
calcium = { gross = "15 mg/L/day" }
[node]
id = "shelf"
day_limit = "80 mL"
longest_run = "30 s"
[broker]
host = "localhost"
passwords = false
[pump.carbonate]
channel = "a"
recipe = "Na2CO3, anhydrous, 100 g/L, 99 %"
bottle = "2 L"
rate = "30 mL/min"
smallest_dose = "0.5 mL"
most_per_dose = "4 mL"
most_per_day = "50 mL"
per_day = "36 mL"
dosed = "12 mL"
[pump.calcium]
channel = "b"
label = { calcium = "18 mg/mL" }
bottle = "2 L"
rate = "30 mL/min"
smallest_dose = "0.5 mL"
most_per_dose = "4 mL"
most_per_day = "50 mL"
per_day = "36 mL"
dosed = "0 mL"
"""
FILES = ["mosquitto-acl", "plan.toml", "slackwater.toml"]
HEAD = ["", "", "200 L", "Europe/Berlin", "8.0 dKH"]
NODE = ["", "80 mL", "30 s", "broker.example:8883", "n"]
FIGURES = ["2 L", "30 mL/min", "0.5 mL", "4 mL", "50 mL", "36 mL"]
CARBONATE = ["carbonate", "", "Na2CO3, anhydrous, 100 g/L, 99 %", *FIGURES, "0 mL"]
CALCIUM = ["calcium", "", "calcium 18 mg/mL", *FIGURES, "0 mL"]
# Best and lower use of alkalinity, none of calcium; four ceilings as suggested.
WATER = ["1.0 dKH/day", "0.8 dKH/day", "", "", "", "", ""]


def setup(folder: Path, text: str = ANSWERS, *words: str) -> Outcome:
    """Run `setup` on an answers file."""
    path = folder / "answers.toml"
    path.write_text(text, "utf-8")
    places = ("--config", folder / "config", "--state", folder / "state")
    return run("setup", "--answers", path, *places, "--by", "keeper", *words)


def dialogue(folder: Path, *lines: str) -> Outcome:
    """Run `setup` with answers typed."""
    places = ("--config", folder / "config", "--state", folder / "state")
    return run("setup", *places, "--by", "keeper", typed="\n".join(lines) + "\n")


def nothing_is_there(folder: Path) -> bool:
    """Whether neither file nor ledger was left behind."""
    left = [p for p in folder.rglob("*") if p.is_file() and p.name != "answers.toml"]
    return not left


def first_entry(state: Path) -> LedgerMade:
    """What the ledger begins with."""
    with LedgerFile.open(state / LIVE_NAME, writable=False) as ledger:
        event = ledger.load().entries[0].event
    assert isinstance(event, LedgerMade)
    return event


def test_help_lists_what_a_file_of_answers_holds() -> None:
    """Every table, with each key that answers may have."""
    told = " ".join(run("setup", "--help").out.split())
    document = tomllib.loads(ANSWERS)
    for table in ("tank", "node", "broker"):
        assert f"[{table}]" in told
        for key in document[table]:
            assert re.search(rf"\b{key}\b", told), key
    assert "[pump.ID]" in told
    for pump in document["pump"].values():
        for key in pump:
            assert re.search(rf"\b{key}\b", told), key
    assert "no_effects" in told


def test_writes_files_that_say_what_was_answered(tmp_path: Path) -> None:
    """The settings read back what was answered, and the plan fits."""
    told = setup(tmp_path)
    assert 0 == told.code
    config = tmp_path / "config"
    assert FILES == sorted(path.name for path in config.iterdir())
    machine = read_machine(config)
    tank = machine.tanks["reef"]
    assert ("Invented reef", 200_000_000) == (tank.name, tank.net_ul)
    pump = machine.pumps["carbonate"]
    assert (4000, 50_000, 500) == (
        pump.per_dose_ul,
        pump.per_day_ul,
        pump.smallest_dose_ul,
    )
    assert {"calcium": 18_000_000} == machine.solutions["calcium"].effects
    plan = read_plan(config, machine)
    assert [36_000, 36_000] == [line.per_day_ul for line in plan.lines]


def test_makes_the_ledger_with_what_was_dosed(tmp_path: Path) -> None:
    """12 mL of carbonate are charged, by the person who answered."""
    setup(tmp_path)
    entry = first_entry(tmp_path / "state")
    assert (True, "keeper") == (entry.answered, entry.by)
    assert {"carbonate": 12_000, "calcium": 0} == entry.dosed_ul


def test_what_was_dosed_as_planned_is_what_the_answers_plan(tmp_path: Path) -> None:
    """The amount of the first plan a day, 36 mL of the one pump."""
    setup(tmp_path, ANSWERS.replace('dosed = "12 mL"', 'dosed = "as planned"'))
    assert {"carbonate": 36_000, "calcium": 0} == first_entry(
        tmp_path / "state"
    ).dosed_ul


def test_unknown_for_one_pump_is_unknown(tmp_path: Path) -> None:
    """The caps start used up, as nobody can tell."""
    setup(tmp_path, ANSWERS.replace('dosed = "12 mL"', 'dosed = "unknown"'))
    assert not first_entry(tmp_path / "state").answered


def test_files_explain_themselves(tmp_path: Path) -> None:
    """Commented for the person who will change them; the cautions once."""
    setup(tmp_path)
    text = (tmp_path / "config" / "slackwater.toml").read_text("utf-8")
    spoken = " ".join(text.replace("\n# ", " ").split())
    for word in ("eye protection", "drip loop", "licensed electrician", "children"):
        assert 1 == spoken.count(word), word
    plan = (tmp_path / "config" / "plan.toml").read_text("utf-8")
    assert plan.startswith("# ")


def test_what_may_be_asked_of_a_pump_is_a_comment(tmp_path: Path) -> None:
    """Nothing at first; without the sign both lines are what a machine may hold."""
    setup(tmp_path)
    config = tmp_path / "config"
    pump = read_machine(config).pumps["carbonate"]
    assert (0, 0) == (pump.per_hand_ul, pump.per_priming_ul)
    path = config / "slackwater.toml"
    text = path.read_text("utf-8").replace("# most_", "most_")
    path.write_text(text, "utf-8")
    pump = read_machine(config).pumps["carbonate"]
    assert (10_000, 20_000) == (pump.per_hand_ul, pump.per_priming_ul)


@pytest.mark.parametrize("kept", ["", "alkalinity", "calcium"])
def test_a_plan_without_its_caps_is_refused_before_anything_is_written(
    tmp_path: Path, kept: str
) -> None:
    """One error names what has none; its lines, written as it says, are taken."""
    begin, end = ANSWERS.index("[tank.caps]"), ANSWERS.index("[node]")
    caps = ANSWERS[begin:end].splitlines()[1:]
    lines = ["[tank.caps]", *(cap for cap in caps if kept and cap.startswith(kept))]
    head, tail = ANSWERS[:begin], ANSWERS[end:]
    told = setup(tmp_path, "\n".join((head, *lines, tail)), "--json")
    assert (2, True) == (told.code, nothing_is_there(tmp_path))
    (error,) = told.errors
    without = [one for one in ("alkalinity", "calcium") if one != kept]
    assert f"the plan adds {' and '.join(without)} without a ceiling" == error["what"]
    assert "answers.toml [tank.caps]" == error["where"]
    advised = re.findall(r"\w+ = \{.*?\}", error["do"])
    assert without == [line.split()[0] for line in advised]
    assert 0 == setup(tmp_path, "\n".join((head, *lines, *advised, tail))).code
    found = read_machine(tmp_path / "config").tanks["reef"].caps
    assert {"alkalinity", "calcium"} == set(found)


def test_passwords_stand_in_files_of_their_own(tmp_path: Path) -> None:
    """The file names them and holds none; the access list has the same users."""
    setup(tmp_path, ANSWERS.replace("passwords = false", "passwords = true"))
    config = tmp_path / "config"
    broker = read_broker(config)
    assert config / "observe.password" == broker.observe_password
    rights = (config / "mosquitto-acl").read_text("utf-8")
    assert f"user {broker.observe_user}\n" in rights
    assert f"user {broker.actuate_user}\n" in rights


def rights_of(text: str, user: str) -> list[str]:
    """The topic lines of one user in an access list."""
    part = text.split(f"user {user}\n")[1].split("\n\n", maxsplit=1)[0]
    return [line for line in part.splitlines() if line.startswith("topic ")]


def test_only_one_identity_may_command(tmp_path: Path) -> None:
    """The listening one has no right to write where commands go."""
    setup(tmp_path)
    text = (tmp_path / "config" / "mosquitto-acl").read_text("utf-8")
    may_write = {
        user: [
            line.split()[-1]
            for line in rights_of(text, user)
            if line.split()[1] in ("write", "readwrite")
        ]
        for user in ("slackwater-observe", "slackwater-actuate", "shelf")
    }
    commands = "slackwater/1/home/node/+/command"
    assert [commands] == may_write["slackwater-actuate"]
    assert not any(t.endswith("command") for t in may_write["slackwater-observe"])
    assert all(
        t.startswith("slackwater/1/home/node/shelf/") for t in may_write["shelf"]
    )


def test_a_dialogue_gives_the_same_as_a_file(tmp_path: Path) -> None:
    """Typed answers: ceilings as suggested, broker as typed."""
    told = dialogue(tmp_path, *HEAD, *NODE, *CARBONATE, "y", *CALCIUM, "n", *WATER)
    assert (0, "") == (told.code, told.err.rpartition("error: ")[1])
    config = tmp_path / "config"
    machine = read_machine(config)
    assert ["a", "b"] == sorted(pump.channel for pump in machine.pumps.values())
    assert {"alkalinity", "calcium"} == set(machine.tanks["reef"].caps)
    broker = read_broker(config)
    assert ("broker.example", 8883) == (broker.host, broker.port)
    assert LIVE_NAME in {path.name for path in (tmp_path / "state").iterdir()}


def test_a_dialogue_broken_off_leaves_nothing(tmp_path: Path) -> None:
    """The end of the input in the middle: exit code 2 and no file."""
    told = dialogue(tmp_path, *HEAD, *NODE, *CARBONATE)
    assert 2 == told.code
    assert nothing_is_there(tmp_path)


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('net_volume = "200 L"', 'net_volume = "200"', "[tank.reef] net_volume"),
        ('net_volume = "200 L"', "net_volume = 200", "[tank] net_volume"),
        ('zone = "Europe/Berlin"', 'zone = "Mars"', "[tank.reef] zone"),
        ('zone = "Europe/Berlin"', 'zone = "../etc/passwd"', "[tank.reef] zone"),
        ('"8.0 dKH"', '"80 dKH"', "targets.alkalinity"),
        ("99 %", "999 %", "[solution.carbonate] purity"),
        ("Na2CO3, anhydrous", "Na2CO3", "[pump.carbonate] recipe"),
        ("Na2CO3", "Unobtainium", "[solution.carbonate] formula"),
        ('"18 mg/mL"', '"18 mg/L"', "[solution.calcium] per_ml.calcium"),
        ('rate = "30 mL/min"', 'rate = "nan mL/min"', "rate"),
        ('most_per_dose = "4 mL"', 'most_per_dose = "0.1 mL"', "smallest_dose"),
        ('channel = "b"', 'channel = "a"', "channel"),
        ('dosed = "12 mL"', 'dosed = "12"', "[pump.carbonate] dosed"),
        ('dosed = "12 mL"', 'dosed = "-1 mL"', "[pump.carbonate] dosed"),
        ('dosed = "12 mL"', 'dosed = "2.01 L"', "[pump.carbonate] dosed"),
        ('bottle = "2 L"', 'botle = "2 L"', "botle"),
        ('host = "localhost"', 'host = "local host"', "[broker] host"),
        ('host = "localhost"', 'host = "a"\nport = 0', "[broker] port"),
        ('id = "shelf"', 'id = "shelf/+"', "[node] id"),
        ('name = "Invented reef"', 'name = "two\\nlines"', "[tank] name"),
        ("[pump.carbonate]", '[pump."a b"]', "[pump."),
        ("[tank.caps]", "[tank.cap]", "[tank] cap"),
        ('per_day = "36 mL"', 'per_day = "36 ML"', "per_day"),
        ('gross = "1.8 dKH/day"', 'gross = "1.8 dKH"', "caps] alkalinity"),
    ],
)
def test_bad_answers_write_nothing(
    tmp_path: Path, old: str, new: str, place: str
) -> None:
    """Exit code 2, the place named, and neither file nor ledger."""
    assert old in ANSWERS
    told = setup(tmp_path, ANSWERS.replace(old, new), "--json")
    assert (2, False) == (told.code, told.document["ok"])
    assert any(place in error["where"] for error in told.errors), told.errors
    assert nothing_is_there(tmp_path)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "missing"),
        ("[tank", "not TOML"),
        ("site = 'x'\nsite = 'y'", "twice"),
        ("\ufeff[tank]", "byte order mark"),
    ],
)
def test_a_broken_answers_file_writes_nothing(
    tmp_path: Path, text: str, words: str
) -> None:
    """Its grammar is told; nothing else happens."""
    told = setup(tmp_path, text, "--json")
    assert 2 == told.code
    assert any(words in error["what"] for error in told.errors), told.errors
    assert nothing_is_there(tmp_path)


@pytest.mark.parametrize("name", FILES)
def test_never_overwrites(tmp_path: Path, name: str) -> None:
    """A file that stands there is refused before anything is written."""
    config = tmp_path / "config"
    config.mkdir()
    (config / name).write_text("mine", "utf-8")
    told = setup(tmp_path)
    assert 1 == told.code
    assert [name] == [path.name for path in config.iterdir()]
    assert "mine" == (config / name).read_text("utf-8")
    assert not (tmp_path / "state").exists()


def test_never_touches_a_ledger(tmp_path: Path) -> None:
    """With a ledger in place no file is written."""
    setup(tmp_path)
    before = (tmp_path / "state" / LIVE_NAME).read_bytes()
    for path in (tmp_path / "config").iterdir():
        path.unlink()
    assert 1 == setup(tmp_path).code
    assert [] == list((tmp_path / "config").iterdir())
    assert before == (tmp_path / "state" / LIVE_NAME).read_bytes()


def test_a_ledger_that_cannot_be_made_takes_the_files_away(tmp_path: Path) -> None:
    """All or nothing: a state directory without a parent undoes the files."""
    path = tmp_path / "answers.toml"
    path.write_text(ANSWERS, "utf-8")
    state = tmp_path / "no" / "where"
    told = run(
        *("setup", "--answers", path, "--config", tmp_path / "config"),
        *("--state", state),
    )
    assert 2 == told.code
    assert nothing_is_there(tmp_path)


def test_any_text_survives_the_file(tmp_path: Path) -> None:
    """Quotes, backslashes and letters of any script are written as they are."""
    name = 'A "reef" \\ Ænd Ωmega'
    text = ANSWERS.replace('"Invented reef"', f"'{name}'")
    assert 0 == setup(tmp_path, text).code
    written = (tmp_path / "config" / "slackwater.toml").read_text("utf-8")
    assert name == tomllib.loads(written)["tank"]["reef"]["name"]


def test_a_session_from_answers_to_status(tmp_path: Path) -> None:
    """The first steps as the README tells them, with real files."""
    assert 0 == setup(tmp_path).code
    stage = Stage(tmp_path / "config", tmp_path / "state")
    assert 0 == stage.run("check").code
    rehearsed = stage.run("rehearse", "--days", "14", "--faults")
    assert 0 == rehearsed.code
    assert "72 mL of one tank, all pumps together" in rehearsed.out
    approved = stage.run(
        "approve", "--now", "--by", "keeper", "--yes-highest-daily", "72 mL"
    )
    assert 0 == approved.code
    refused = stage.run("enable", "--json")
    assert 1 == refused.code
    assert ["pump calcium", "pump carbonate", "shadow"] == [
        error["where"] for error in refused.errors
    ]
    status = stage.run("status")
    assert 0 == status.code
    assert "approval 1" in status.out
    assert "unbroken" in stage.run("ledger", "verify").out
