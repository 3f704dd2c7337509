"""The small changes tried: what each part of a syntax tree may be replaced with.

Not changed: annotations, decorators, docstrings and other texts, `zip(strict=...)`, and
what only tells the type checker that no other case is left.
"""

import ast
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass

ANOTHER_COMPARISON: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.In: (ast.NotIn,),  # codespell:ignore notin
    ast.NotIn: (ast.In,),  # codespell:ignore notin
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}
ANOTHER_SUM: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
ANOTHER_NAME = {"min": "max", "max": "min", "any": "all", "all": "any"}
# Only ever stands where a type checker sees that nothing arrives.
UNREACHABLE = "assert_never"
# Fields of the tree that are not behaviour.
UNCHANGED = {"annotation", "returns", "decorator_list", "type_comment"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """One part of a tree, and what is put in its place.

    Attributes:
        holder: The node it hangs on.
        field: The name of the holder's field.
        index: Its place in that field, where the field is a list.
        old: The part as it is.
        new: What replaces it.
        owner: The outermost function it stands in, after its classes; empty for none.
        statement: The innermost statement it stands in.
    """

    holder: ast.AST
    field: str
    index: int | None
    old: ast.AST
    new: ast.AST
    owner: str
    statement: ast.stmt


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the walk through a tree stands."""

    classes: str
    owner: str
    statement: ast.stmt


def sites(tree: ast.Module) -> Iterator[Site]:
    """Every change of a module, in the order of its text."""
    for index, statement in enumerate(tree.body):
        start = Place(classes="", owner="", statement=statement)
        yield from sites_of(tree, "body", index, start)


def sites_of(
    holder: ast.AST, field: str, index: int | None, place: Place
) -> Iterator[Site]:
    """The changes of one part, then those of what it holds."""
    part = getattr(holder, field)
    old: ast.AST = part if index is None else part[index]
    within = inside(old, place)
    if is_left_alone(old):
        return
    for new in replacements(old, holder, field):
        yield Site(
            holder=holder,
            field=field,
            index=index,
            old=old,
            new=ast.copy_location(new, old),
            owner=within.owner,
            statement=within.statement,
        )
    for name, below in ast.iter_fields(old):
        if name in UNCHANGED:
            continue
        # What a default is decided when the function is made, not in it.
        deeper = (
            place if name == "args" and isinstance(old, ast.FunctionDef) else within
        )
        yield from sites_below(old, name, below, deeper)


def sites_below(
    holder: ast.AST, field: str, below: object, place: Place
) -> Iterator[Site]:
    """The changes of one field of a node."""
    if isinstance(below, ast.AST):
        yield from sites_of(holder, field, None, place)
    elif isinstance(below, list):
        for index, one in enumerate(below):
            if isinstance(one, ast.AST):
                yield from sites_of(holder, field, index, place)


def inside(node: ast.AST, place: Place) -> Place:
    """The place of what a node holds."""
    classes, owner, statement = place.classes, place.owner, place.statement
    if isinstance(node, ast.stmt):
        statement = node
    if isinstance(node, ast.ClassDef) and not owner:
        classes += f"{node.name}."
    if isinstance(node, ast.FunctionDef) and not owner:
        owner = classes + node.name
    return Place(classes=classes, owner=owner, statement=statement)


def is_left_alone(node: ast.AST) -> bool:
    """Whether nothing in this part is tried."""
    if isinstance(node, ast.keyword):
        return node.arg == "strict"
    if isinstance(node, ast.Expr):
        return isinstance(node.value, ast.Constant) or called(node) == UNREACHABLE
    return isinstance(node, ast.Import | ast.ImportFrom)


def called(statement: ast.Expr) -> str:
    """The bare name of what a statement calls; empty if it has none."""
    call = statement.value
    has_name = isinstance(call, ast.Call) and isinstance(call.func, ast.Name)
    return call.func.id if has_name else ""  # type: ignore[attr-defined]  # looked at


def replacements(node: ast.AST, holder: ast.AST, field: str) -> Iterator[ast.AST]:
    """What may stand in a node's place."""
    if isinstance(node, ast.expr) and is_condition(node, holder, field):
        yield ast.UnaryOp(op=ast.Not(), operand=node)
    match node:
        case ast.Compare():
            yield from comparisons(node)
        case ast.BinOp() | ast.AugAssign() if type(node.op) in ANOTHER_SUM:
            yield swapped(node)
        case ast.BoolOp():
            other = ast.Or() if isinstance(node.op, ast.And) else ast.And()
            yield ast.BoolOp(op=other, values=node.values)
        case ast.UnaryOp(op=ast.Not() | ast.USub()):
            # A copy: it is put in another place than it has.
            yield copy(node.operand)
        case ast.Constant():
            yield from constants(node)
        case ast.Name(id=name, ctx=ast.Load()) if name in ANOTHER_NAME:
            yield ast.Name(id=ANOTHER_NAME[name], ctx=node.ctx)
        case _:
            pass
    if isinstance(node, ast.stmt):
        yield from statements(node)


def is_condition(node: ast.AST, holder: ast.AST, field: str) -> bool:
    """Whether a node decides what is done, and no other change turns it round."""
    decides = field == "test" and isinstance(holder, ast.If | ast.While | ast.IfExp)
    sifts = field == "ifs" and isinstance(holder, ast.comprehension)
    turns = isinstance(node, ast.Compare | ast.UnaryOp)
    return (decides or sifts) and not turns


def comparisons(node: ast.Compare) -> Iterator[ast.AST]:
    """The same comparison with one sign moved to its border or turned round."""
    for index, sign in enumerate(node.ops):
        for other in ANOTHER_COMPARISON[type(sign)]:
            signs = [*node.ops[:index], other(), *node.ops[index + 1 :]]
            yield ast.Compare(left=node.left, ops=signs, comparators=node.comparators)


def swapped(node: ast.BinOp | ast.AugAssign) -> ast.AST:
    """The same sum with its opposite sign."""
    sign = ANOTHER_SUM[type(node.op)]()
    if isinstance(node, ast.BinOp):
        return ast.BinOp(left=node.left, op=sign, right=node.right)
    return ast.AugAssign(target=node.target, op=sign, value=node.value)


def constants(node: ast.Constant) -> Iterator[ast.AST]:
    """A number one higher and one lower; the other truth value."""
    value = node.value
    if isinstance(value, bool):
        yield ast.Constant(value=not value)
    elif isinstance(value, int | float):
        yield ast.Constant(value=value + 1)
        yield ast.Constant(value=value - 1)


def statements(node: ast.stmt) -> Iterator[ast.AST]:
    """A statement left out, nothing returned, a loop left instead of gone on with."""
    match node:
        case ast.Return(value=ast.expr() as value) if not is_none(value):
            yield ast.Return(value=ast.Constant(value=None))
        case ast.Expr() | ast.AugAssign() | ast.Raise() | ast.Delete():
            yield ast.Pass()
        case ast.Break():
            yield ast.Continue()
        case ast.Continue():
            yield ast.Break()
        case _:
            pass


def is_none(value: ast.expr) -> bool:
    """Whether this is the word None."""
    return isinstance(value, ast.Constant) and value.value is None
