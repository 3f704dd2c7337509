"""JSON text becomes rows of cells with their places.

Floor 6. One subject: reports as objects. Laws here: depth, size and duplicate keys are
looked at while reading, so that every finding has its line; numbers keep their digits;
true and false are no results. What is read is turned into the rows a table would have:
a list of objects is a table, an object of objects has a row for each key, single values
stand above the table.
"""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NoReturn

from slackwater.outside.lab.cells import Cell, Row, one_line, refuse, refuse_size
from slackwater.outside.lab.decoding import first_unprintable
from slackwater.water.texts import shown

# Report, table, row, list of replicates.
DEPTH_AT_MOST = 4
ELEMENT = "element"

_SPACE = re.compile(r"[ \t\r\n]*")
_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?")
_WORD = re.compile(r"-?[A-Za-z]+")
# Words that stand for a value: nothing, and what some programs write for no number.
_TOLD = {"null": "", "NaN": "NaN", "Infinity": "Infinity", "-Infinity": "-Infinity"}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Object:
    at: Cell
    items: Mapping[str, "_Value"] = field(default_factory=dict)
    keys: Mapping[str, Cell] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class _List:
    at: Cell
    items: tuple["_Value", ...] = ()


_Value = Cell | _Object | _List


def rows_of(text: str, file: str) -> list[Row]:
    """The rows a JSON report stands for, header first after what stands above.

    Raises: InputError for what is no JSON, too deep, a duplicate key, or not in one
    of the forms a report may have; each with line and column.
    """
    rows: list[Row] = []
    for row in _Shape(file).rows(_Reader(text, file).whole()):
        refuse_size(len(rows) + 1, row, file)
        rows.append(row)
    return rows


class _Reader:
    """Reads one JSON text from the left; `_at` is how far it has come."""

    def __init__(self, text: str, file: str) -> None:
        self._text = text
        self._file = file
        self._at = 0
        self._strings = json.JSONDecoder()
        self._ends = [found.end() for found in re.finditer(r"\r\n?|\n", text)]
        self._line = 0

    def whole(self) -> _Value:
        value = self._value(1)
        self._skip()
        if self._at < len(self._text):
            self._refuse("something stands behind the end", "one JSON value")
        return value

    def _value(self, depth: int) -> _Value:
        self._skip()
        letter = self._text[self._at : self._at + 1]
        if letter in {"{", "["} and letter:
            if depth > DEPTH_AT_MOST:
                self._refuse(
                    "the values nest too deeply", f"at most {DEPTH_AT_MOST} levels"
                )
            return self._object(depth) if letter == "{" else self._list(depth)
        return self._string() if letter == '"' else self._scalar()

    def _object(self, depth: int) -> _Object:
        here = self._cell("")
        items: dict[str, _Value] = {}
        keys: dict[str, Cell] = {}
        self._at += 1
        while not self._ends_with("}", first=not items):
            self._skip()
            if self._text[self._at : self._at + 1] != '"':
                self._refuse("there is no key", 'a key in quotes or "}"')
            key = self._string()
            if key.text in items:
                self._refuse(
                    f"the key {shown(key.text)} stands there twice",
                    "each key once",
                    key,
                )
            self._expect(":")
            items[key.text], keys[key.text] = self._value(depth + 1), key
        return _Object(at=here, items=items, keys=keys)

    def _list(self, depth: int) -> _List:
        here = self._cell("")
        items: list[_Value] = []
        self._at += 1
        while not self._ends_with("]", first=not items):
            items.append(self._value(depth + 1))
        return _List(at=here, items=tuple(items))

    def _ends_with(self, closing: str, *, first: bool) -> bool:
        self._skip()
        letter = self._text[self._at : self._at + 1]
        if letter == closing:
            self._at += 1
            return True
        if not first:
            self._expect(",")
        return False

    def _expect(self, letter: str) -> None:
        self._skip()
        if self._text[self._at : self._at + 1] != letter:
            self._refuse(f'there is no "{letter}"', f'a "{letter}"')
        self._at += 1

    def _string(self) -> Cell:
        here = self._cell("")
        try:
            text, self._at = self._strings.raw_decode(self._text, self._at)
        except ValueError:
            self._refuse("a text is not closed", "a text in quotes")
        if first_unprintable(str(text)) is not None:
            self._refuse("a text does not print", "plain text", here)
        return Cell(text=one_line(str(text)), line=here.line, column=here.column)

    def _scalar(self) -> Cell:
        here = self._cell("")
        number = _NUMBER.match(self._text, self._at)
        if number:
            self._at = number.end()
            return self._told(here, number[0], exact=True)
        word = _WORD.match(self._text, self._at)
        if word is None or word[0] not in _TOLD:
            found = f"found {word[0][:20]}" if word else "this is no JSON"
            self._refuse(found, "an object, a list, a number or a text")
        self._at = word.end()
        return self._told(here, _TOLD[word[0]], exact=False)

    def _told(self, here: Cell, text: str, *, exact: bool) -> Cell:
        return Cell(text=text, line=here.line, column=here.column, exact=exact)

    def _skip(self) -> None:
        match = _SPACE.match(self._text, self._at)
        self._at = match.end() if match else self._at

    def _cell(self, text: str) -> Cell:
        # Reading only moves forward, so the line is counted on, not anew.
        while self._line < len(self._ends) and self._ends[self._line] <= self._at:
            self._line += 1
        begins = self._ends[self._line - 1] if self._line else 0
        return Cell(text=text, line=self._line + 1, column=self._at - begins + 1)

    def _refuse(self, what: str, expected: str, cell: Cell | None = None) -> NoReturn:
        here = cell or self._cell("")
        _refuse_at(self._file, here, what, expected)


class _Shape:
    """Turns values into rows."""

    def __init__(self, file: str) -> None:
        self._file = file

    def rows(self, value: _Value) -> Iterator[Row]:
        if isinstance(value, _List):
            yield from self._table(value)
        elif isinstance(value, _Object):
            yield from self._report(value)
        else:
            self._refuse_report(value)

    def _report(self, report: _Object) -> Iterator[Row]:
        single = {k: v for k, v in report.items.items() if isinstance(v, Cell)}
        nested = {k: v for k, v in report.items.items() if not isinstance(v, Cell)}
        if not nested:
            # One sample, an element for each key: a table of one row.
            yield tuple(report.keys[key] for key in single)
            yield tuple(single.values())
            return
        for key, cell in single.items():
            yield report.keys[key], cell
        tables = [v for v in nested.values() if self._is_table(v)]
        if len(tables) == len(nested) == 1:
            table = tables[0]
            yield from self._rows_in(table)
        else:
            rows = _Object(at=report.at, items=nested, keys=report.keys)
            yield from self._by_key(rows)

    def _is_table(self, value: _Value) -> bool:
        if isinstance(value, _List):
            return any(isinstance(item, _Object) for item in value.items)
        return isinstance(value, _Object) and any(
            isinstance(item, _Object) for item in value.items.values()
        )

    def _rows_in(self, value: _Value) -> Iterator[Row]:
        if isinstance(value, _List):
            yield from self._table(value)
        elif isinstance(value, _Object):
            yield from self._by_key(value)

    def _table(self, rows: _List) -> Iterator[Row]:
        found = [self._row(item) for item in rows.items]
        heads = self._heads(found)
        yield tuple(heads.values())
        for row in found:
            yield self._line(row, heads)

    def _by_key(self, rows: _Object) -> Iterator[Row]:
        found = {key: self._row(value) for key, value in rows.items.items()}
        heads = self._heads(list(found.values()))
        corner = Cell(text=ELEMENT, line=rows.at.line, column=rows.at.column)
        yield (corner, *heads.values())
        for key, row in found.items():
            yield (rows.keys[key], *self._line(row, heads))

    def _row(self, value: _Value) -> _Object:
        if not isinstance(value, _Object):
            at = value if isinstance(value, Cell) else value.at
            _refuse_at(self._file, at, "this is no object", "an object for each row")
        return value

    def _heads(self, rows: list[_Object]) -> dict[str, Cell]:
        heads: dict[str, Cell] = {}
        for row in rows:
            for key, value in row.items.items():
                width = len(value.items) if isinstance(value, _List) else 1
                for number in range(width):
                    # A list of replicates is as many columns of one name.
                    heads.setdefault(f"{key}\0{number}", row.keys[key])
        return heads

    def _line(self, row: _Object, heads: Mapping[str, Cell]) -> Row:
        return tuple(self._cell_of(row, head) for head in heads)

    def _cell_of(self, row: _Object, head: str) -> Cell:
        key, _, number = head.partition("\0")
        value = row.items.get(key)
        if isinstance(value, _List) and int(number) < len(value.items):
            value = value.items[int(number)]
        elif isinstance(value, _List) or int(number):
            value = None
        if value is None:
            return Cell(text="", line=row.at.line, column=row.at.column)
        if not isinstance(value, Cell):
            _refuse_at(
                self._file, value.at, "a table stands in a cell", "a number or a text"
            )
        return value

    def _refuse_report(self, value: Cell) -> NoReturn:
        expected = "a list of objects or an object of objects"
        _refuse_at(self._file, value, "this is no report", expected)


def _refuse_at(file: str, cell: Cell, what: str, expected: str) -> NoReturn:
    refuse(
        what,
        f"{file} line {cell.line}, column {cell.column}",
        expected,
        "Mend the file at this place, or export it as CSV.",
    )
