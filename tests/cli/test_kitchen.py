"""`recipe`, `volume` and `first-aid`: what needs no ledger."""

import pytest

from slackwater.facts.first_aid import FIRST_AID, TOPICS
from tests.cli.run_program import CONFIG, Outcome, run

MANGANESE = (
    "recipe",
    "manganese",
    "0.3 ug/L/day",
    "--salt",
    "MnCl2",
    "--hydrate",
    "4H2O",
    "--purity",
    "100 %",
)
PLACE = ("--volume", "250 L", "--smallest", "0.5 mL", "--doses", "1")


def test_a_trace_is_diluted_until_the_pump_can_give_it() -> None:
    """75 µg a day in one dose of twice 0.5 mL: 75 mg/L of manganese.

    Source: the worked example of a trace that cannot be dosed from 1 g/L; molar masses
    of MnCl2·4H2O 197.90 and Mn 54.938 g/mol (IUPAC).
    """
    told = run(*MANGANESE, *PLACE, "--json").document
    grams = told["grams_per_litre"]
    assert isinstance(grams, float)
    assert grams == pytest.approx(0.075 * 197.90 / 54.938, rel=0.005)
    assert told["dose_ul"] == pytest.approx(1000, rel=0.01)


def test_a_stock_is_diluted_instead_of_weighed() -> None:
    """Twenty-seven millilitres of a ten gram stock make a litre."""
    told = run(*MANGANESE, *PLACE, "--stock", "10 g/L", "--json").document
    grams = told["grams_per_litre"]
    assert isinstance(grams, float)
    assert told["stock_ml"] == pytest.approx(grams / 10 * 1000)
    weak = run(*MANGANESE, *PLACE, "--stock", "0.1 g/L", "--json")
    assert 2 == weak.code
    assert "at least" in weak.errors[0]["expected"]


def test_a_pump_tells_tank_and_smallest_dose() -> None:
    """From the configuration."""
    told = run(
        *("recipe", "alkalinity", "1.5 dKH/day", "--salt", "Na2CO3"),
        *("--hydrate", "anhydrous", "--pump", "carbonate", "--doses", "12"),
        *("--config", CONFIG / "smallest"),
    )
    assert 0 == told.code
    assert "smallest reliable one is 500 µL" in told.out
    assert "goggles" in told.out
    assert "would lift" in told.out


def test_what_does_not_dissolve_is_not_weighed_in() -> None:
    """Bicarbonate at 15 °C ends well below what the pump would take."""
    told = run(
        *("recipe", "alkalinity", "3 dKH/day", "--salt", "NaHCO3"),
        *("--volume", "2000 L", "--smallest", "0.2 mL", "--doses", "1", "--json"),
    ).document
    assert told["limited_by_solubility"] is True
    grams = told["grams_per_litre"]
    assert isinstance(grams, float)
    assert grams < 100


def test_a_large_bottle_is_warned_of() -> None:
    """Ten litres of strong soda over 100 L harm when they run out."""
    told = run(
        *("recipe", "alkalinity", "2 dKH/day", "--salt", "Na2CO3"),
        *("--hydrate", "anhydrous", "--volume", "100 L", "--smallest", "0.2 mL"),
        *("--doses", "12", "--make", "10 L"),
    )
    assert "That harms: keep bottles to" in told.out


def test_side_effects_of_a_salt_are_told() -> None:
    """Potassium nitrate brings potassium."""
    told = run(
        *("recipe", "nitrate", "0.5 mg/L/day", "--salt", "KNO3"),
        *("--volume", "250 L", "--smallest", "0.5 mL"),
    )
    assert "of potassium a day" in told.out


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("recipe", "unobtainium", "1 mg/L/day", "--salt", "KCl"), "unknown"),
        (("recipe", "potassium", "1 mg", "--salt", "KCl", *PLACE), "1 mg"),
        (("recipe", "potassium", "1 mg/L/day", "--salt", "KCl"), "not known"),
        (("recipe", "calcium", "1 mg/L/day", "--salt", "CaCl2", *PLACE), "water"),
        (
            ("recipe", "potassium", "1 mg/L/day", "--salt", "KCl", "--pump", "no"),
            "no pump",
        ),
        (("volume",), "nothing was measured"),
        (("volume", "--added", "alkalinity 200 meq"), "not given"),
        (
            (
                *("volume", "--added", "alkalinity lots", "--before", "7 dKH"),
                *("--after", "9 dKH", "--error", "0.1 dKH"),
            ),
            "lots",
        ),
    ],
)
def test_what_cannot_be_understood_is_one_error(
    words: tuple[str, ...], what: str
) -> None:
    """Exit code 2, the four words, no traceback."""
    told = run(*words, "--config", CONFIG / "smallest", "--json")
    assert 2 == told.code
    assert what in told.errors[0]["what"]


def volume(*words: str) -> Outcome:
    """`volume` with words, as a document."""
    return run("volume", *words, "--json")


def litres(told: Outcome) -> float:
    """The net volume that was found."""
    found = told.document["net_volume"]
    assert isinstance(found, dict)
    return float(found["litres"])


@pytest.mark.parametrize("amount", ["nan meq", "inf meq", "-5 meq", "0 meq", "1_0 meq"])
def test_an_amount_that_nobody_adds_names_its_place(amount: str) -> None:
    """Not a number, no end, less than nothing, nothing, no figure as people write."""
    levels = ("--before", "7.2 dKH", "--after", "8.9 dKH", "--error", "0.1 dKH")
    told = run("volume", "--added", f"alkalinity {amount}", *levels, "--json")
    assert (2, "--added") == (told.code, told.errors[0]["where"])
    assert f"found '{amount}'" == told.errors[0]["what"]


@pytest.mark.parametrize(
    ("high", "filed"),
    [("12 cm", '"2.4 L"'), ("43.7 cm", '"8.74 L"'), ("7 m", '"140 L"')],
)
def test_a_small_tank_gets_three_digits_for_the_file(high: str, filed: str) -> None:
    """Half a litre of 2.4 L would be a fifth of every dose."""
    told = run("volume", "--box", f"20 cm x 10 cm x {high} less 0 %")
    assert f"net_volume = {filed}" in told.out


def test_more_rock_than_water_names_its_options() -> None:
    """9999 kg of aragonite displace 3.4 cubic metres, and the glass holds 250 L."""
    box = "100 cm x 50 cm x 50 cm less 0 %"
    (error,) = volume("--box", box, "--rock", "9999 kg").errors
    assert "--rock, --sand, --equipment" == error["where"]
    assert "takes 3412.6 L of 250.0 L" in error["what"]


def test_volume_by_measures_takes_rock_and_sand_off() -> None:
    """120 x 60 x 50 cm are 360 L; 25 kg of aragonite displace 8.5 L, sand 12 L."""
    told = volume(
        *("--box", "120 cm x 60 cm x 50 cm less 0 %", "--sump", "60 L"),
        *("--rock", "25 kg", "--sand", "20 L", "--equipment", "2 L"),
    )
    assert litres(told) == pytest.approx(360 + 60 - 25 / 2.93 - 12 - 2, abs=0.1)


@pytest.mark.parametrize(
    ("depth", "differs"), [("50 cm", False), ("60 cm", True), ("40 cm", True)]
)
def test_a_file_that_reckons_with_another_volume_is_told(
    depth: str, differs: bool
) -> None:
    """Both figures and what to do; the sample's tank of 200 L is 100 x 40 x 50 cm."""
    box = ("volume", "--box", f"100 cm x 40 cm x {depth} less 0 %")
    words = (*box, "--config", CONFIG / "smallest")
    told = run(*words, "--json").document
    expected = {"tank": "reef", "litres": 200.0, "differs": differs}
    assert expected == told["configured"]
    text = " ".join(run(*words).out.split())
    assert 'says net_volume = "200 L" for reef' in text
    assert differs == ("`slackwater check`, `rehearse` and `approve` again" in text)
    assert differs == ("further apart than the error" in text)


def test_a_volume_needs_no_file_unless_a_tank_is_named() -> None:
    """Two tanks and no name compare with neither; a name that is none is refused."""
    words = ("volume", "--box", "100 cm x 40 cm x 50 cm less 0 %", "--json")
    many = (*words, "--config", CONFIG / "two-tanks")
    assert run(*many).document["configured"] is None
    assert 2 == run(*many, "--tank", "nowhere").code


def test_volume_by_an_addition_comes_with_its_error() -> None:
    """200 meq that lift 1.7 dKH (0.6063 meq/L) are 330 L, to 8 %."""
    told = volume(
        *("--added", "alkalinity 200 meq", "--before", "7.2 dKH"),
        *("--after", "8.9 dKH", "--error", "0.1 dKH"),
    )
    assert litres(told) == pytest.approx(200 / (1.7 * 0.356652), rel=0.001)


def test_volume_by_an_addition_of_a_trace_is_in_its_own_unit() -> None:
    """9 mg of iodine that lift 30 ug/L are 300 L, not 0.3 L."""
    levels = ("--before", "30 ug/L", "--after", "60 ug/L", "--error", "3 ug/L")
    for amount in ("9 mg", "9000 ug", "0.009 g"):
        told = volume("--added", f"iodine {amount}", *levels)
        assert litres(told) == pytest.approx(9000 / 30)


def test_a_rise_of_a_trace_too_small_to_tell_is_told_in_micrograms() -> None:
    """10 ug/L where a test is good to 3: five of them are 15, and 4.5 mg in 300 L."""
    told = volume(
        *("--added", "iodine 3 mg", "--before", "50 ug/L"),
        *("--after", "60 ug/L", "--error", "3 ug/L"),
    )
    assert 2 == told.code
    assert "about 4500 ug in all" in told.errors[0]["do"]


@pytest.mark.parametrize(
    ("parameter", "unit", "found"),
    [("salinity", "PSU", "33"), ("carbon", "mmol/L", "1"), ("lead", "ug/L", "2")],
)
def test_what_nobody_adds_and_tests_shows_no_volume(
    parameter: str, unit: str, found: str
) -> None:
    """Salinity has no amount, carbon no test, and a contaminant is never added."""
    told = volume(
        *("--added", f"{parameter} 400 mg", "--before", f"{found} {unit}"),
        *("--after", f"35 {unit}", "--error", f"0.1 {unit}"),
    )
    assert 2 == told.code
    assert "--added" == told.errors[0]["where"]


def test_a_rise_too_small_to_tell_says_how_much_to_add() -> None:
    """Three errors are no rise."""
    told = volume(
        *("--added", "alkalinity 20 meq", "--before", "7.2 dKH"),
        *("--after", "7.5 dKH", "--error", "0.1 dKH"),
    )
    assert 2 == told.code
    (error,) = told.errors
    assert "a rise of 0.3 dKH, where one test is good to 0.1 dKH" == error["what"]
    assert "a rise of 0.5 dKH or more" == error["expected"]
    # 20 meq / 0.107 meq/L = 187 L; 187 L * 5 * 0.0357 meq/L = 33 meq.
    assert "about 33 meq in all" in error["do"]


@pytest.mark.parametrize(
    ("after", "error", "where"),
    [
        ("7.2 dKH", "0.1 dKH", "--after"),
        ("8.9 dKH", "0.1 dKH", "--after"),
        ("9.3 dKH", "0 dKH", "--error"),
    ],
)
def test_no_rise_asks_for_no_larger_addition(
    after: str, error: str, where: str
) -> None:
    """Tests the wrong way round, or a fall: nothing more is poured in for it."""
    told = volume(
        *("--added", "alkalinity 200 meq", "--before", "8.9 dKH"),
        *("--after", after, "--error", error),
    )
    assert 2 == told.code
    assert [where] == [one["where"] for one in told.errors]
    assert "meq" not in told.errors[0]["do"]


def test_a_rise_within_its_own_error_gives_no_figure() -> None:
    """0.05 dKH of a test good to 0.1: how much to add nobody can say from that."""
    told = volume(
        *("--added", "alkalinity 200 meq", "--before", "7.20 dKH"),
        *("--after", "7.25 dKH", "--error", "0.1 dKH"),
    )
    assert 2 == told.code
    assert "mean of several tests" in told.errors[0]["do"]
    assert "meq" not in told.errors[0]["do"]


def test_two_ways_that_disagree_are_not_averaged() -> None:
    """400 L of glass and 200 L by an addition: one of them is wrong."""
    told = volume(
        *("--box", "100 cm x 80 cm x 50 cm less 0 %"),
        *("--added", "alkalinity 200 meq", "--before", "7.0 dKH"),
        *("--after", "9.8 dKH", "--error", "0.05 dKH"),
    )
    assert 2 == told.code


def test_two_ways_that_agree_give_a_narrower_figure() -> None:
    """330 L both ways."""
    told = run(
        *("volume", "--box", "110 cm x 60 cm x 50 cm less 0 %"),
        *("--added", "alkalinity 200 meq", "--before", "7.2 dKH"),
        *("--after", "8.9 dKH", "--error", "0.1 dKH"),
    )
    assert 0 == told.code
    assert "Together:" in told.out
    assert 'net_volume = "330 L"' in told.out


def test_first_aid_is_printed_whole_or_by_topic() -> None:
    """Eighty columns, every step, and no topic that nobody can ask for."""
    told = run("first-aid")
    assert all(len(line) <= 80 for line in told.out.splitlines())
    assert all(name.replace("-", " ").upper() in told.out for name in FIRST_AID)
    one = run("first-aid", "white-cloud", "--json").document["topics"]
    assert isinstance(one, dict)
    assert ["white-cloud"] == list(one)
    assert set(TOPICS.values()) <= set(FIRST_AID)
    assert 2 == run("first-aid", "heartbreak", "--json").code


def test_the_help_of_first_aid_holds_the_texts() -> None:
    """Whoever asks for help in a hurry reads what to do, every step of it."""
    told = run("first-aid", "--help").out
    joined = " ".join(told.split())
    assert all(len(line) <= 80 for line in told.splitlines())
    assert all(step in joined for steps in FIRST_AID.values() for step in steps)


def test_a_pump_that_may_not_give_so_much_says_so() -> None:
    """Its own ceilings of a dose and a day, in the recipe already."""
    words = ("--salt", "NaHCO3", "--pump", "carbonate", "--config", CONFIG / "smallest")
    told = run("recipe", "alkalinity", "1 dKH/day", *words).out
    small = run("recipe", "alkalinity", "0.1 dKH/day", *words, "--doses", "12").out
    assert "[pump.carbonate] allows 4 mL a dose and 50 mL a day: that is more." in told
    assert "that is more" not in small


def test_what_no_household_balance_weighs_is_said() -> None:
    """0.07 g of a trace salt: make a stronger stock and dilute that."""
    words = ("--salt", "MnCl2", "--hydrate", "4H2O", *PLACE)
    assert (
        "too little for a household balance"
        in run("recipe", "manganese", "0.3 ug/L/day", *words).out
    )
    assert "household" not in run("recipe", "manganese", "30 ug/L/day", *words).out


def test_a_contaminant_is_no_trace_to_dose() -> None:
    """3 ug/L of copper a day is over what is watched after one day."""
    words = ("--salt", "CuSO4", "--hydrate", "5H2O", *PLACE)
    told = run("recipe", "copper", "3 ug/L/day", *words).out
    assert "what is watched in sea water (2 ug/L; acted on from 4)" in told
    assert "watched" not in run("recipe", "copper", "0.1 ug/L/day", *words).out


def test_a_recipe_of_a_trace_says_how_long_it_may_be_dosed_blind() -> None:
    """1 ug/L of copper a day, none of it used up: the 4 ug/L of act after three days.

    The band is common practice, no source; the sea has 0.26 (Bruland 1983).
    """
    words = ("--salt", "CuSO4", "--hydrate", "5H2O", *PLACE)
    told = " ".join(run("recipe", "copper", "1 ug/L/day", *words).out.split())
    assert "reaches 4 ug/L, where dosing of it ends, after 3 days" in told
    words = ("--salt", "CaCl2", "--hydrate", "2H2O", *PLACE)
    assert "used up" not in run("recipe", "calcium", "8 mg/L/day", *words).out


def test_the_sea_has_most_of_the_iodine_that_it_may_have() -> None:
    """From 61.4 ug/L (Quinby-Hunt and Turekian 1983) 3 a day reach 90 in nine days."""
    words = ("recipe", "iodine", "3 ug/L/day", "--salt", "KI", *PLACE)
    told = " ".join(run(*words).out.split())
    assert "from natural sea water, 61.4 ug/L, it reaches 90 ug/L" in told
    assert "after 9 days" in told


def test_a_bottle_that_would_do_very_much_is_written_out() -> None:
    """5 L of 142 g/L soda into 100 L: 375 dKH, and never "3.7e+02".

    Source: 2 eq a mole of 105.988 g (IUPAC), 0.35665 meq/L a dKH: 710 g of 99 % are
    13.26 eq, in 100 L 372 dKH.
    """
    place = ("--volume", "100 L", "--smallest", "0.5 mL", "--doses", "2")
    words = ("--salt", "Na2CO3", "--hydrate", "anhydrous", "--make", "5 L")
    told = run("recipe", "alkalinity", "5 dKH/day", *place, *words).out
    assert "would lift alkalinity by 370 dKH" in " ".join(told.split())


def test_a_jar_that_is_not_known_names_its_option() -> None:
    """The place is what was typed, and not the program."""
    told = run("recipe", "calcium", "8 mg/L/day", "--salt", "CaClx", *PLACE, "--json")
    assert ["--salt, --hydrate"] == [one["where"] for one in told.errors]


def test_what_no_solution_adds_names_its_place() -> None:
    """Salinity is measured: the parameter is what was typed wrong."""
    words = ("--salt", "NaCl", "--hydrate", "anhydrous", *PLACE, "--json")
    told = run("recipe", "salinity", "1 PSU/day", *words)
    assert (2, ["PARAMETER"]) == (told.code, [one["where"] for one in told.errors])
