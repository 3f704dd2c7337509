"""Writes the same TOML document again in other words: nothing it says is changed."""

import random
import re
import unicodedata
from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal

# What one amount is in another unit, exactly. Source: SI prefixes, hours and days.
_OTHER: Mapping[str, tuple[tuple[str, Decimal | int], ...]] = {
    "mL": (("uL", 1000), ("L", Decimal("0.001"))),
    "L": (("mL", 1000), ("uL", 10**6)),
    "min": (("s", 60),),
    "h": (("min", 60), ("s", 3600)),
    "d": (("h", 24),),
}
_AMOUNT = re.compile(r"(\d+(?:\.\d+)?) (mL|L|s|min|h|d|%|dKH|mg/L|dKH/day|mg/L/day)")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
REMARKS = ("# nothing to see", "#", "# ü, ß and 水", '# key = "value"', "#[table]")


class Writer:
    """Writes documents; each choice is drawn from one source of chance."""

    def __init__(self, chance: random.Random) -> None:
        """Keep the source of chance."""
        self.chance = chance
        self.end = chance.choice(("\n", "\r\n"))

    def text(self, document: Mapping[str, object]) -> str:
        """The whole document: plain keys first, tables in any order, lists kept."""
        lines = list(self._table((), document))
        text = self.end.join((*lines, ""))
        composed = self.chance.random() < 0.5
        return unicodedata.normalize("NFC" if composed else "NFD", text)

    def _shuffled(self, table: Mapping[str, object]) -> list[tuple[str, object]]:
        pairs = list(table.items())
        self.chance.shuffle(pairs)
        return pairs

    def _table(
        self, path: tuple[str, ...], table: Mapping[str, object]
    ) -> Iterator[str]:
        below: list[tuple[str, object]] = []
        for key, value in self._shuffled(table):
            if self._is_below(value, path):
                below.append((key, value))
            else:
                yield from self._around(
                    f"{self._key(key)}{self._is()}{self._any(value)}"
                )
        for key, value in below:
            yield from self._below((*path, key), value)

    def _is_below(self, value: object, path: tuple[str, ...]) -> bool:
        """Whether it has a head of its own: lists of tables always, at the top."""
        if isinstance(value, list):
            return not path and bool(value) and isinstance(value[0], dict)
        return isinstance(value, dict) and (not path or self.chance.random() < 0.5)

    def _below(self, path: tuple[str, ...], value: object) -> Iterator[str]:
        name = ".".join(self._key(part) for part in path)
        if isinstance(value, dict):
            yield from self._around(f"[{name}]")
            yield from self._table(path, value)
            return
        assert isinstance(value, list)
        for item in value:
            yield from self._around(f"[[{name}]]")
            yield from self._table(path, item)

    def _around(self, line: str) -> Iterator[str]:
        """A line with what may stand before and behind it."""
        if self.chance.random() < 0.2:
            yield self.chance.choice(("", *REMARKS))
        indent = self.chance.choice(("", "", "  ", "\t"))
        behind = self.chance.choice(("", "", " ", f"  {self.chance.choice(REMARKS)}"))
        yield f"{indent}{line}{behind}"

    def _is(self) -> str:
        return self.chance.choice((" = ", "=", "   =  "))

    def _key(self, key: str) -> str:
        if _BARE.fullmatch(key) and self.chance.random() < 0.8:
            return key
        return self._quoted(key)

    def _any(self, value: object) -> str:
        if isinstance(value, bool):
            return "true" if value else "false"
        if isinstance(value, str):
            return self._quoted(self._amount(value))
        if isinstance(value, list):
            return self._list(value)
        if isinstance(value, dict):
            pairs = (
                f"{self._key(key)}{self._is()}{self._any(item)}"
                for key, item in self._shuffled(value)
            )
            return f"{{ {', '.join(pairs)} }}"
        assert isinstance(value, int | date)
        return str(value)

    def _list(self, values: list[object]) -> str:
        items = [self._any(value) for value in values]
        if self.chance.random() < 0.5:
            return f"[{', '.join(items)}]"
        lines = "".join(f"  {item},{self.end}" for item in items)
        return f"[{self.end}{lines}]"

    def _quoted(self, text: str) -> str:
        if self.chance.random() < 0.3 and "'" not in text and text.isprintable():
            return f"'{text}'"
        escaped = text.replace("\\", "\\\\").replace('"', '\\"')
        if self.chance.random() < 0.2:
            escaped = "".join(
                one if one.isascii() else f"\\u{ord(one):04X}" for one in escaped
            )
        return f'"{escaped}"'

    def _amount(self, text: str) -> str:
        """An amount in another unit or with more digits; other texts as they are."""
        match = _AMOUNT.fullmatch(text)
        if match is None:
            return text
        number, unit = Decimal(match[1]), match[2]
        same: tuple[tuple[str, Decimal | int], ...] = ((unit, 1),)
        other, factor = self.chance.choice((*same, *_OTHER.get(unit, ())))
        digits = f"{number * factor:f}"
        if self.chance.random() < 0.4:
            digits += "0" if "." in digits else ".0"
        return f"{digits} {other}"
