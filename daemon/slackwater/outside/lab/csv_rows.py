"""CSV text becomes rows of cells with their places.

Floor 6. One subject: separated values. Laws here: nothing is interpreted; a line that
begins with "# " above everything else is a remark; a quote that is not closed ends the
reading with its line.
Source: RFC 4180, with semicolons and tabs as they are met; "sep=;" in a first line is
what spreadsheets write to say it.
"""

import csv
import io
from collections.abc import Iterator
from typing import NoReturn

from slackwater.outside.lab.cells import Cell, Row, one_line, refuse, refuse_size

SEPARATORS = (";", "\t", ",")
_NAMES = {";": "semicolon", "\t": "tab", ",": "comma"}
_HINT = "sep="
_REMARK = "# "


def separators_in(text: str) -> tuple[str, ...]:
    """The separators worth trying: the one a first line names, else all that occur.

    Shape: never empty; a file of one column is read with semicolons.
    """
    first = text.split("\n", 1)[0].strip().strip('"')
    if first.startswith(_HINT) and first.removeprefix(_HINT) in SEPARATORS:
        return (first.removeprefix(_HINT),)
    return tuple(mark for mark in SEPARATORS if mark in text) or SEPARATORS[:1]


def rows_of(text: str, separator: str, file: str) -> list[Row]:
    """Every row that is not empty, remarks left out.

    Raises: InputError for a quote that is not closed, or for more than a report has.
    """
    return list(_rows(text, separator, file))


def _rows(text: str, separator: str, file: str) -> Iterator[Row]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    begins, is_above, count = 1, True, 0
    while True:
        try:
            texts = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            _refuse_row(file, begins, separator, error)
        line, begins = begins, reader.line_num + 1
        if is_above and (texts[:1] or [""])[0].startswith((_REMARK, _HINT)):
            continue
        row = tuple(
            Cell(text=one_line(item), line=line, column=number)
            for number, item in enumerate(texts, start=1)
        )
        if any(not cell.is_empty for cell in row):
            is_above, count = False, count + 1
            refuse_size(count, row, file)
            yield row


def _refuse_row(file: str, line: int, separator: str, error: csv.Error) -> NoReturn:
    refuse(
        f"the row cannot be read ({error})",
        f"{file} line {line}",
        f"cells with a {_NAMES[separator]} between them, quotes closed and doubled "
        "inside",
        "Mend the quotes of this line.",
    )
