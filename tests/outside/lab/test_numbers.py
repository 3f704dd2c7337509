"""Numbers and words in the place of a value."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.outside.lab.numbers import (
    Figure,
    Mark,
    Word,
    figure_in,
    is_ambiguous,
    meanings,
    proof_in,
)

MARKS: tuple[Mark, ...] = ("point", "comma")
SIGNS = {"point": ".", "comma": ","}
# What may part groups of three: a space of four kinds, an apostrophe, the other mark.
SPACES = (" ", "\u00a0", "\u202f", "\u2009", "'", "\u2019")

decimals = st.decimals(
    min_value=0, max_value=10**7, places=6, allow_nan=False, allow_infinity=False
)


def rendered(number: Decimal, mark: Mark, groups: str = "") -> str:
    """A number as a program writes it, with groups of three parted or not."""
    text = f"{number:,f}" if groups else f"{number:f}"
    whole, _, part = text.partition(".")
    whole = whole.replace(",", groups)
    return f"{whole}{SIGNS[mark]}{part}" if part else whole


@given(decimals, st.sampled_from(MARKS))
def test_what_is_written_plainly_reads_back_exactly(
    number: Decimal, mark: Mark
) -> None:
    """With its own decimal mark, to the last digit."""
    assert Fraction(number) == meanings(rendered(number, mark))[mark]


@given(decimals, st.sampled_from(MARKS), st.sampled_from(SPACES))
def test_groups_parted_by_spaces_are_never_ambiguous(
    number: Decimal, mark: Mark, space: str
) -> None:
    """No space is a decimal mark."""
    text = rendered(number, mark, space)
    assert Fraction(number) == meanings(text)[mark]
    if number >= 1000:
        assert not is_ambiguous(text)


@given(decimals, st.sampled_from(MARKS))
def test_groups_parted_by_the_other_mark_read_back(number: Decimal, mark: Mark) -> None:
    """With the mark known, however large; six decimals leave no second reading."""
    other = SIGNS["comma" if mark == "point" else "point"]
    text = rendered(number, mark, other)
    assert Fraction(number) == meanings(text)[mark]
    if number >= 1000:
        assert (mark,) == tuple(meanings(text))


@given(st.integers(0, 10**6), st.integers(-6, 6), st.sampled_from("eE"))
def test_exponents_read_back_exactly(digits: int, power: int, letter: str) -> None:
    """As instruments write them, with or without a plus."""
    for sign in ("", "+") if power >= 0 else ("",):
        text = f"{digits}{letter}{sign}{power}"
        assert {Fraction(digits) * Fraction(10) ** power} == set(
            meanings(text).values()
        )


@given(st.text(max_size=12))
def test_any_text_is_a_figure_or_a_word(text: str) -> None:
    """Nothing raises, and what is no number has no meaning."""
    found = figure_in(text)
    assert isinstance(found, Figure | Word)
    assert set(meanings(text)) <= set(MARKS)


@given(st.lists(decimals, min_size=1), st.sampled_from(MARKS))
def test_a_file_of_one_mark_is_never_taken_for_the_other(
    numbers: list[Decimal], mark: Mark
) -> None:
    """Six decimals prove it."""
    assert mark == proof_in(rendered(number, mark) for number in numbers).mark


@pytest.mark.parametrize(
    ("text", "point", "comma"),
    [
        ("405", "405", "405"),
        ("405.0", "405", None),
        ("405,0", None, "405"),
        ("1,234", "1234", "1.234"),
        ("1.234", "1.234", "1234"),
        ("1,234.5", "1234.5", None),
        ("1.234,5", None, "1234.5"),
        ("1,234,567", "1234567", None),
        ("1 290,5", None, "1290.5"),
        ("1\u00a0290", "1290", "1290"),
        ("0.055", "0.055", None),
        ("0,055", None, "0.055"),
        (".5", "0.5", None),
        (",5", None, "0.5"),
        ("1.2e-3", "0.0012", None),
        ("1.234E3", "1234", None),
    ],
)
def test_what_a_number_means_with_each_mark(
    text: str, point: str | None, comma: str | None
) -> None:
    """A group of three never begins with 0, and never stands before an exponent."""
    expected = {"point": point, "comma": comma}
    found = meanings(text)
    assert {mark: found.get(mark) for mark in MARKS} == {
        mark: None if number is None else Fraction(number)
        for mark, number in expected.items()
    }


@pytest.mark.parametrize(
    "text",
    [
        *("1,23,4", "1.2.3", "12 34", "1 2345", "1,2.3,4", "1.", "e5", "1e", "1e99"),
        *("1234567890123456", "\u0661\u0662", "\u00b2", "1 234'567", "0,001,000", ""),
    ],
)
def test_what_is_no_number_means_nothing(text: str) -> None:
    """Odd groups, too many digits, other alphabets, raised digits."""
    assert {} == meanings(text)


@pytest.mark.parametrize(
    ("text", "figure"),
    [
        ("405", Figure(number="405")),
        ("<0.3", Figure(number="0.3", below=True)),
        ("< 0,3 \u00b5g/L", Figure(number="0,3", unit="\u00b5g/L", below=True)),
        ("<=5", Figure(number="5", below=True)),
        ("\u2264 5", Figure(number="5", below=True)),
        ("7.4 dKH", Figure(number="7.4", unit="dKH")),
        ("405mg/L", Figure(number="405", unit="mg/L")),
        ("1 290 mg/L", Figure(number="1 290", unit="mg/L")),
        ("1.2E-3", Figure(number="1.2E-3")),
    ],
)
def test_a_figure_is_taken_apart(text: str, figure: Figure) -> None:
    """Mark, number and unit."""
    assert figure == figure_in(text)


@pytest.mark.parametrize(
    ("texts", "word"),
    [
        (
            ("n.d.", "nd", "ND", "N.D.", "not detected", "Not Detected", "< LOD"),
            Word.BELOW_DETECTION,
        ),
        (
            ("below detection", "below detection limit", "BDL", "b.d.l.", "<MDL", "<"),
            Word.BELOW_DETECTION,
        ),
        (
            ("< LOQ", "<LOQ", "below LOQ", "bql", "<RL", "below quantification limit"),
            Word.BELOW_QUANTIFICATION,
        ),
        (("", "-", "--", "n/a", "N.A.", "not measured", " "), Word.NOTHING),
        (("NaN", "nan", "inf", "-inf", "Infinity", "\u221e", "#N/A"), Word.NOT_FINITE),
        ((">500", "> 5 mg/L", "\u2265 5"), Word.ABOVE),
        (("-0.02", "\u22120,5", "- 5"), Word.NEGATIVE),
        (("abc", "?", "~5", "+5", "\u00b10.2", "ca. 5"), Word.UNREADABLE),
    ],
)
def test_words_in_the_place_of_a_value(texts: tuple[str, ...], word: Word) -> None:
    """In any case, with or without dots and spaces."""
    assert [word] * len(texts) == [figure_in(text) for text in texts]


def test_a_taught_word_is_below_detection() -> None:
    """Whatever its case and dots."""
    assert Word.UNREADABLE == figure_in("u.d.l.")
    assert Word.BELOW_DETECTION == figure_in("U.D.L.", ("u.d.l.",))


def test_numbers_are_sorted_by_what_they_prove() -> None:
    """By their place; what is the same either way proves nothing."""
    proof = proof_in(["405", "1,234", "0.5", "1,5", "abc"])
    assert ((2,), (3,), (1,), None) == (
        proof.points,
        proof.commas,
        proof.open,
        proof.mark,
    )
