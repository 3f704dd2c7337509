"""Changes that keep enough of a form to get far into what reads it.

Seeded by a `Random`; each takes a text that is in order and gives one that may not be.
"""

import json
from random import Random

# Numbers that end comparisons, overflow, or are none; as they would be written.
FIGURES = (
    *("NaN", "Infinity", "-Infinity", "1e400", "-1e400", "1e-400", "-0", "0", "-1"),
    *("0.1", "1.5", "9007199254740993", "18446744073709551616", "1e308", "0x10", "1_0"),
    *("00", "1,5", "+1", ".5", "5.", "null", "true", "[]", "{}", '""', '"1"', "\u0661"),
)
WORDS = (
    *(
        "",
        " ",
        "#",
        "+",
        "$SYS",
        "../x",
        "a" * 33,
        "A",
        "é",
        "\u0000",
        "\u202e",
        "\r\n",
    ),
    *("NaN", "1", "1 mL", "1 ML", "1 kL", "-1 mL", "1e400 mL", "1 mL/s", "0 mL", "1 L"),
    *("5 dKH", "5 meq/L", "24:00", "25:61", "2026-02-30", "9999-12-31", "1 h", "1 ms"),
)
BYTES = (
    b"\xff",
    b"\x00",
    b"\xef\xbb\xbf",
    b"\xed\xa0\x80",
    b"{",
    b"[",
    b'"',
    b"\\",
    b",",
)
DEEP = 400


def bytewise(content: bytes, chance: Random) -> bytes:
    """A few bytes changed, cut, put in or said twice."""
    found = bytearray(content)
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(found) + 1)
        how = chance.randrange(5)
        if how == 0 and at < len(found):
            found[at] = chance.randrange(256)
        elif how == 1:
            del found[at : at + chance.randint(1, 30)]
        elif how == 2:
            found[at:at] = chance.choice(BYTES)
        elif how == 3:
            found[at:at] = found[at : at + 40]
        else:
            found[at : at + 3] = chance.choice(FIGURES).encode()
    return bytes(found)


def jsonwise(content: bytes, chance: Random) -> bytes:
    """One value, name or member of an object exchanged, taken away or said twice."""
    marks: list[str] = []
    tree = _changed(json.loads(content), chance, marks)
    text = json.dumps(tree, separators=chance.choice(((",", ":"), (", ", ": "))))
    for mark in marks:
        # Written out as they are: no tree holds 1e400 or a name twice.
        text = text.replace(json.dumps(mark), mark[1:])
    return text.encode()


def _changed(value: object, chance: Random, marks: list[str]) -> object:
    """The value with one thing changed somewhere inside, or the value exchanged."""
    if isinstance(value, dict) and value and chance.random() < 0.85:
        return _changed_object(value, chance, marks)
    if isinstance(value, list) and value and chance.random() < 0.7:
        at = chance.randrange(len(value))
        inside = _changed(value[at], chance, marks)
        return [*value[:at], inside, *value[at + 1 :]]
    return _other(value, chance, marks)


def _changed_object(
    value: dict[str, object], chance: Random, marks: list[str]
) -> dict[str, object]:
    name = chance.choice(sorted(value))
    how = chance.randrange(8)
    if how == 0:
        return {key: each for key, each in value.items() if key != name}
    if how == 1:
        return {**value, chance.choice(WORDS) or "x": value[name]}
    if how == 2:
        mark = f'\x01"{name}":0,"{name}"'
        marks.append(mark)
        return {mark if key == name else key: each for key, each in value.items()}
    return {**value, name: _changed(value[name], chance, marks)}


def _other(value: object, chance: Random, marks: list[str]) -> object:
    how = chance.randrange(6)
    if how == 0 and isinstance(value, int):
        return value + chance.choice((-1, 1, 1000, 2**53, -(2**64)))
    if how == 1 and isinstance(value, str):
        return bytewise(value.encode(), chance).decode("utf-8", "replace")
    if how == 2:
        return chance.choice(WORDS)
    if how == 3:
        deep: object = value
        for _ in range(chance.choice((1, 4, 5, DEEP))):
            deep = [deep]
        return deep
    mark = f"\x01{chance.choice(FIGURES)}"
    marks.append(mark)
    return mark


def linewise(text: str, chance: Random) -> str:
    """Lines of settings: doubled, left out, put elsewhere, or with another value."""
    lines = text.splitlines()
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        at = chance.randrange(len(lines))
        how = chance.randrange(8)
        name, sign, value = lines[at].partition(" = ")
        if how == 0:
            lines.insert(at, lines[at])
        elif how == 1 and len(lines) > 1:
            del lines[at]
        elif how == 2:
            lines.insert(chance.randrange(len(lines)), lines.pop(at))
        elif how == 3 and sign:
            lines[at] = f"{name}{chance.choice('sx-_')} = {value}"
        elif sign:
            lines[at] = f"{name} = {_setting(value, chance)}"
    return "\n".join(lines) + "\n"


def _setting(value: str, chance: Random) -> str:
    how = chance.randrange(4)
    if how == 0:
        return json.dumps(chance.choice(WORDS), ensure_ascii=False)
    if how == 1:
        return chance.choice(("nan", "inf", "-inf", "1e400", *FIGURES))
    digits = [at for at, letter in enumerate(value) if letter.isdigit()]
    if not digits:
        return bytewise(value.encode(), chance).decode("utf-8", "replace")
    at = chance.choice(digits)
    put = chance.choice(("0", "9", "00", "000", "-", ".", "", "5", "e3"))
    return value[:at] + put + value[at + (how == 2) :]


def cellwise(text: str, chance: Random) -> str:
    """A table: cells, rows or columns changed."""
    rows = text.splitlines()
    at = chance.randrange(len(rows))
    separator = next((one for one in (";", "\t", ",") if one in text), ",")
    cells = rows[at].split(separator)
    where = chance.randrange(len(cells))
    how = chance.randrange(6)
    if how == 0:
        rows.insert(at, rows[at])
    elif how == 1 and len(rows) > 1:
        del rows[at]
    elif how == 2:
        del cells[where]
        rows[at] = separator.join(cells)
    else:
        cells[where] = chance.choice(
            (*FIGURES, *WORDS, cells[where] * 2, "<0.1", "n/a")
        )
        rows[at] = separator.join(cells)
    return "\n".join(rows) + "\n"
