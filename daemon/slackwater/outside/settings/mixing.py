"""Turns solution tables into solutions.

Floor 6. One subject: what one microlitre of a stock adds. Laws here: a solution is
described in exactly one way; the water works out what it adds; a solution that says
nothing about its effects says so in words.
"""

from dataclasses import dataclass, replace
from functools import partial

from slackwater.facts.tank import Solution
from slackwater.outside.settings.amounts import Amounts
from slackwater.outside.settings.machine_model import SaltTable, SolutionTable
from slackwater.outside.settings.partial import is_whole
from slackwater.outside.settings.tables import Findings, listed
from slackwater.water.salts import salt_named, water_in
from slackwater.water.solutions import Portion, Stock, stock_from_recipe
from slackwater.water.units import parse_temperature_celsius

FORMULA = "formula"

# A room that is heated; a bottle in a colder place says so.
ROOM = "20 °C"

_EXAMPLES = {"strength": '"100 g/L"', "purity": '"99.5 %"'}
_WAYS = ("formula", "salts", "per_ml", "no_effects")
_SALT_KEYS = ("hydrate", "strength", "purity")


def solution_from(
    identity: str, table: SolutionTable, findings: Findings
) -> Solution | None:
    """The solution, or None with everything wrong noted."""
    reader = _SolutionReader(identity=identity, table=table, findings=findings)
    solution = findings.judge(reader.solution)
    return solution if is_whole(table) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class _SolutionReader:
    identity: str
    table: SolutionTable
    findings: Findings

    @property
    def place(self) -> str:
        return f"[solution.{self.identity}]"

    def solution(self) -> Solution | None:
        way = self._way()
        self._check_strays(way)
        match way:
            case "formula" | "salts":
                return self._from_salts()
            case "per_ml":
                return self._from_label()
            case "no_effects":
                return self._record("no counted effects")
        return None

    def _way(self) -> str:
        given = {way: partial(getattr, self.table, way) for way in _WAYS}
        ways = [way for way, read in given.items() if self.findings.judge(read)]
        if len(ways) == 1:
            return ways[0]
        if not ways:
            # One that was refused is one all the same: asking for it ends here.
            for read in given.values():
                read()
        self.findings.add(
            self.place,
            f"{listed(ways)} are given" if ways else "nothing says what it does",
            f"exactly one of {listed(_WAYS)}",
            "Describe the solution in one way; no_effects = true for none.",
        )
        return ""

    def _check_strays(self, way: str) -> None:
        # Where nothing says what it does, the formula is what is missing.
        if way not in ("formula", ""):
            for key in _SALT_KEYS:
                self.findings.judge(partial(self._check_salt_key, key))
        recipe = way in ("formula", "salts")
        self.findings.judge(partial(self._check_coldest, is_recipe=recipe))
        for key in ("hydroxide", "bicarbonate"):
            self.findings.judge(partial(self._check_beside, key, is_recipe=recipe))
        self.findings.judge(self._check_alone)

    def _check_salt_key(self, key: str) -> None:
        if getattr(self.table, key) is not None:
            self.findings.add(
                f"{self.place} {key}",
                f"{key} is given without formula",
                "a formula beside it",
                f"Add formula, or take {key} out.",
            )

    def _check_coldest(self, *, is_recipe: bool) -> None:
        if self.table.coldest is not None and not is_recipe:
            self.findings.add(
                f"{self.place} coldest",
                "coldest is given without formula",
                "a formula or salts beside it",
                "Take coldest out: only what is weighed in can be checked.",
            )

    def _check_beside(self, key: str, *, is_recipe: bool) -> None:
        if is_recipe and getattr(self.table, key):
            self.findings.add(
                f"{self.place} {key}",
                f"{key} is given beside a formula",
                "the formula alone",
                f"Take {key} out: it follows from the formula.",
            )

    def _check_alone(self) -> None:
        if self.table.hydroxide and self.table.bicarbonate:
            self.findings.add(
                f"{self.place} bicarbonate",
                "it is said to be hydroxide and bicarbonate alone",
                "one of the two",
                "Take the wrong one out.",
            )

    def _from_label(self) -> Solution | None:
        before = self.findings.count
        effects = {}
        for parameter, text in sorted((self.table.per_ml or {}).items()):
            place = f"{self.place} per_ml.{parameter}"
            amounts = Amounts(parameter=parameter, findings=self.findings)
            content = amounts.is_dosed(place) and amounts.content(place, text)
            if content:
                effects[parameter] = content
        if self.findings.count > before:
            return None
        return self._record("label or measurement", effects=effects)

    def _record(self, origin: str, effects: dict[str, int] | None = None) -> Solution:
        table = self.table
        return Solution(
            id=self.identity,
            name=table.name or self.identity,
            effects=effects or {},
            fully_declared=(
                origin == FORMULA
                if table.fully_declared is None
                else table.fully_declared
            ),
            hydroxide=table.hydroxide or False,
            bicarbonate=table.bicarbonate,
            light_sensitive=table.light_sensitive,
            cautions=(*table.cautions, *_handling(table)),
            origin=origin,
        )

    def _from_salts(self) -> Solution | None:
        before = self.findings.count
        portions = [
            self.findings.judge(partial(self._portion, place, salt))
            for place, salt in self._salts()
        ]
        if self.findings.count > before or None in portions:
            return None
        stock = self._stock([portion for portion in portions if portion])
        return None if stock is None else _filled(self._record(FORMULA), stock)

    def _stock(self, portions: list[Portion]) -> Stock | None:
        coldest = ROOM if self.table.coldest is None else self.table.coldest
        place = f"{self.place} coldest"
        celsius = self.findings.attempt(
            place, lambda: parse_temperature_celsius(coldest, where="")
        )
        if celsius is None:
            return None
        return self.findings.attempt(
            self.place,
            lambda: stock_from_recipe(portions, coldest_celsius=celsius, where=""),
        )

    def _salts(self) -> list[tuple[str, SaltTable]]:
        table = self.table
        if table.salts is not None:
            return [
                (f"{self.place} salts.{number}", salt)
                for number, salt in enumerate(table.salts)
            ]
        for key in ("strength", "purity"):
            self.findings.judge(partial(self._check_given, key))
        # The figures were read already; reading them again would refuse them.
        salt = SaltTable.model_construct(formula=table.formula)
        for key in _SALT_KEYS:
            self.findings.judge(partial(_hand_on, key, table, salt))
        return [(self.place, salt)]

    def _check_given(self, key: str) -> None:
        if getattr(self.table, key) is None:
            self.findings.add(
                f"{self.place} {key}",
                "the key is missing",
                f"{key} beside formula",
                f"Add a line like  {key} = {_EXAMPLES[key]}",
            )

    def _portion(self, place: str, table: SaltTable) -> Portion | None:
        """The portion, looked at here so that each finding names its own key."""
        salt = self.findings.attempt(
            f"{place} formula", lambda: salt_named(table.formula, where="")
        )
        if salt is None:
            return None
        self.findings.attempt(
            f"{place} hydrate", lambda: water_in(salt, table.hydrate, where="")
        )
        return Portion(
            formula=table.formula,
            hydrate=table.hydrate,
            grams_per_litre=table.strength,
            purity=table.purity,
        )


def _hand_on(key: str, table: SolutionTable, salt: SaltTable) -> None:
    # What was refused has no value there either, not even its default.
    salt.__dict__.pop(key, None)
    value = getattr(table, key)
    if value is not None or not SaltTable.model_fields[key].is_required():
        salt.__dict__[key] = value


def _filled(plain: Solution, stock: Stock) -> Solution:
    """The solution with what its stock adds; the keeper's own cautions come first."""
    return replace(
        plain,
        effects=dict(stock.effects),
        counter_ions=dict(stock.counter_ions),
        ions=stock.ions,
        hydroxide=stock.hydroxide,
        cautions=(*plain.cautions, *stock.cautions),
    )


def _handling(table: SolutionTable) -> tuple[str, ...]:
    """What no pump does for it, said wherever its bottle is touched."""
    wanted = (
        (table.stir, "it settles: stir it, or keep a stirrer running, before doses"),
        (table.rinse, "it crystallises: rinse hose and outlet with `slackwater flush`"),
        (table.light_sensitive, "light spoils it: keep bottle and hose dark"),
    )
    return tuple(words for is_wanted, words in wanted if is_wanted)
