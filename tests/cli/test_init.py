"""`init`: the first entry of a ledger."""

import shutil
from pathlib import Path

import pytest

from slackwater.facts.events import LedgerMade
from slackwater.facts.rolling import DAY_MS
from slackwater.ledger.store import LedgerFile
from slackwater.service.memory import LIVE_NAME, read_state
from tests.cli.run_program import SMALLEST, Outcome, run
from tests.cli.terminal import at_a_terminal


def init(state: Path, *words: str, typed: str = "") -> Outcome:
    """Run `init` on the smallest sample."""
    return run("init", "--config", SMALLEST, "--state", state, *words, typed=typed)


def made(state: Path) -> LedgerMade:
    """The first entry."""
    with LedgerFile.open(state / LIVE_NAME, writable=False) as ledger:
        event = ledger.load().entries[0].event
    assert isinstance(event, LedgerMade)
    return event


def test_answers_as_options_are_charged(tmp_path: Path) -> None:
    """Volumes and what they added count against the first 24 hours."""
    state = tmp_path / "state"
    told = init(state, "--dosed", "carbonate=12 mL", "--dosed", "calcium=0 mL")
    assert 0 == told.code
    entry = made(state)
    assert entry.answered
    assert {"carbonate": 12_000, "calcium": 0} == entry.dosed_ul
    with LedgerFile.open(state / LIVE_NAME, writable=False) as ledger:
        charges = read_state(ledger).charges
    assert 12_000 == charges["pump/carbonate"].since(-DAY_MS)
    # 12 mL of soda, 99 % of 100 g/L at 105.988 g/mol, two equivalents each.
    expected = 12_000 * 100 * 0.99 / 105.988 * 2 * 1e6
    assert expected == pytest.approx(charges["effect/reef/alkalinity"].total, rel=1e-5)


def test_asks_for_each_pump(tmp_path: Path) -> None:
    """Answers typed in order of the pumps' names; questions go to standard error."""
    told = init(tmp_path, "--json", typed="1 mL\n2.5 mL\n")
    assert {"calcium": 1000, "carbonate": 2500} == told.document["dosed_ul"]
    assert "Soda solution" in told.err


@pytest.mark.parametrize(
    ("words", "typed"), [(("--unanswered",), ""), ((), "1 mL\nunknown\n")]
)
def test_unknown_starts_used_up(
    tmp_path: Path, words: tuple[str, ...], typed: str
) -> None:
    """Nobody knows: no volume is charged, the caps stay used up for 24 hours."""
    assert 0 == init(tmp_path, *words, typed=typed).code
    entry = made(tmp_path)
    assert (False, {}) == (entry.answered, dict(entry.dosed_ul))


def test_nothing_is_an_answer(tmp_path: Path) -> None:
    """Every pump gave nothing, and somebody said so."""
    assert 0 == init(tmp_path, "--dosed-nothing", "--by", "keeper").code
    entry = made(tmp_path)
    assert (True, "keeper") == (entry.answered, entry.by)
    assert {"carbonate": 0, "calcium": 0} == entry.dosed_ul


@pytest.mark.parametrize(
    ("words", "typed"), [(("--as-planned",), ""), ((), "as planned\nas planned\n")]
)
def test_as_planned_is_what_the_plan_gives(
    tmp_path: Path, words: tuple[str, ...], typed: str
) -> None:
    """The smallest sample gives 36 mL by each pump; as an option or typed."""
    told = init(tmp_path, *words, typed=typed)
    assert 0 == told.code
    assert {"carbonate": 36_000, "calcium": 36_000} == made(tmp_path).dosed_ul
    assert bool(typed) == ('"as planned" for what plan.toml gives' in told.err)


def test_without_a_plan_nothing_is_as_planned(tmp_path: Path) -> None:
    """The option is refused for the missing file; the dialogue does not offer it."""
    config, state = tmp_path / "config", tmp_path / "state"
    config.mkdir()
    shutil.copy(SMALLEST / "slackwater.toml", config)
    places = ("init", "--config", config, "--state", state)
    told = run(*places, "--as-planned", "--json")
    assert 2 == told.code
    assert "plan.toml" in told.errors[0]["where"]
    asked = run(*places, typed="as planned\n")
    assert 2 == asked.code
    assert "for what plan.toml gives" not in asked.err
    assert not state.exists()


@pytest.mark.parametrize(
    ("words", "findings"),
    [
        (("--dosed", "carbonate=12"), ["--dosed carbonate", "--dosed"]),
        (("--dosed", "carbonate=12 ML", "--dosed", "calcium=0 mL"), None),
        (("--dosed", "carbonate=-1 mL", "--dosed", "calcium=0 mL"), None),
        (("--dosed", "carbonate=nan mL", "--dosed", "calcium=0 mL"), None),
        (("--dosed", "carbonate=1e3 mL", "--dosed", "calcium=0 mL"), None),
        (("--dosed", "carbonate=2.001 L", "--dosed", "calcium=2 L"), None),
        (("--dosed", "carbonate=1 mL"), ["--dosed"]),
        (("--dosed", "kalk=1 mL", "--dosed-nothing"), ["init"]),
        (("--dosed-nothing", "--unanswered"), ["init"]),
        (("--as-planned", "--dosed-nothing"), ["init"]),
        (("--dosed", "kalk=1 mL"), ["--dosed", "--dosed", "--dosed"]),
        (("--dosed", ""), ["--dosed", "--dosed", "--dosed"]),
        (
            ("--dosed", "calcium=1 mL", "--dosed", "calcium=1 mL"),
            ["--dosed", "--dosed"],
        ),
    ],
)
def test_bad_answers_make_nothing(
    tmp_path: Path, words: tuple[str, ...], findings: list[str] | None
) -> None:
    """Exit code 2, every finding named, and no ledger."""
    told = init(tmp_path, "--json", *words)
    assert 2 == told.code
    assert (findings or ["--dosed carbonate"]) == [e["where"] for e in told.errors]
    assert [] == list(tmp_path.iterdir())


def test_questions_broken_off_make_nothing(tmp_path: Path) -> None:
    """The end of the input in the middle is one clear error."""
    told = init(tmp_path, typed="1 mL\n")
    assert 2 == told.code
    assert "not answered to the end" in told.err
    assert [] == list(tmp_path.iterdir())


def test_a_ledger_is_never_made_twice(tmp_path: Path) -> None:
    """Refused with exit code 1 before anything is asked; the file stays as it was."""
    init(tmp_path, "--dosed-nothing")
    before = (tmp_path / LIVE_NAME).read_bytes()
    told = init(tmp_path, "--dosed-nothing", "--json")
    assert (1, False) == (told.code, told.document["ok"])
    assert before == (tmp_path / LIVE_NAME).read_bytes()


def test_a_state_directory_without_a_parent_is_not_made(tmp_path: Path) -> None:
    """A slip in --state makes no tree of folders."""
    told = init(tmp_path / "no" / "where", "--dosed-nothing")
    assert 2 == told.code
    assert [] == list(tmp_path.iterdir())


def test_needs_a_machine_that_can_be_read(tmp_path: Path) -> None:
    """Without files nobody knows which pumps to ask for."""
    told = run("init", "--config", tmp_path, "--state", tmp_path, "--dosed-nothing")
    assert 2 == told.code
    assert [] == list(tmp_path.iterdir())


def test_a_person_at_a_terminal_is_asked_again(tmp_path: Path) -> None:
    """A slip costs one answer, not all of them; the ledger holds what was meant."""
    words = ("init", "--config", str(SMALLEST), "--state", str(tmp_path / "state"))
    screen = at_a_terminal(words, "12\n12 mL\n0,5 mL\n500 uL\n")
    assert 2 == screen.count("Once more, please.")
    assert '"12" has no unit' in screen
    assert {"calcium": 12_000, "carbonate": 500} == made(tmp_path / "state").dosed_ul


def test_more_than_a_bottle_is_asked_about(tmp_path: Path) -> None:
    """With what to say where it is right; that leaves the caps used up for a day."""
    words = ("init", "--config", str(SMALLEST), "--state", str(tmp_path / "state"))
    screen = at_a_terminal(words, "5 L\nunknown\n")
    assert 1 == screen.count("Once more, please.")
    assert "5 L in 24 hours out of a bottle of 2 L" in screen
    assert 'answer "unknown"' in " ".join(screen.split())
    assert not made(tmp_path / "state").answered


def test_a_plan_that_answers_is_told_beside_the_machine(tmp_path: Path) -> None:
    """What is wrong in both files, for both are read."""
    slips = (
        ("slackwater.toml", "Europe/Berlin", "Europe/Berlln"),
        ("plan.toml", "doses = 12", "doses = 0"),
    )
    for name, old, new in slips:
        text = (SMALLEST / name).read_text("utf-8")
        (tmp_path / name).write_text(text.replace(old, new, 1), "utf-8")
    places = ("init", "--config", tmp_path, "--state", tmp_path / "state")
    told = run(*places, "--as-planned", "--json")
    assert 2 == told.code
    assert [
        "slackwater.toml [tank.reef] zone",
        'plan.toml [[line]] 1 ("carbonate") doses',
    ] == [one["where"] for one in told.errors]
