"""The house rules that no other tool enforces, each a function that finds breaches.

Each takes a path and its text and gives one line per breach, `line: what`.
"""

import ast
import io
import re
import tokenize
from collections.abc import Callable, Iterator
from pathlib import PurePosixPath

from tests.rules import tree

Law = Callable[[PurePosixPath, str], Iterator[str]]

LINES_AT_MOST = 400
# Names that say nothing about what a thing is.
EMPTY_NAMES = frozenset(
    {
        "common",
        "data",
        "do",
        "handler",
        "helper",
        "info",
        "manager",
        "misc",
        "process",
        "util",
    }
)
# Folders of one machine; what a package installs itself lies elsewhere, and an
# invented person in a sample has a name of one letter.
MACHINE_PATH = re.compile(
    r"(?<![\w.~])/(?:(?:work|opt|root|Users)/(?!slackwater\b)|home/\w\w)"
    r"|\bshared[/]"
)
# One of these stands in every such path: to look for them is a tenth of the work.
FOLDERS = ("/work", "/opt", "/root", "/Users", "/home", "shared")
# The keyword and the name of a definition, or of what only looks like one.
DEFINED = re.compile(r"\b(def|class)[\s\\]+(\w+)")
PROMISE = re.compile(r"\b(?:TODO|FIXME|XXX)\b(?!.*#\d)")
# The two places where any fault at all stops the pumps, is logged and ends the run.
LAST_RESORTS = ("daemon/slackwater/service/run.py", "daemon/slackwater/cli/main.py")
SKIPS = frozenset({"skip", "skipif", "xfail", "importorskip"})
Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def short_file(path: PurePosixPath, text: str) -> Iterator[str]:
    """A module has at most 400 lines."""
    lines = text.count("\n")
    if path.suffix == ".py" and lines > LINES_AT_MOST:
        yield f"{lines}: lines, at most {LINES_AT_MOST}"


def telling_name(path: PurePosixPath, text: str) -> Iterator[str]:
    """Modules, classes and functions are called by what they are or give."""
    if path.suffix != ".py":
        return
    for word in path.stem.split("_"):
        if word in EMPTY_NAMES:
            yield f"1: module named {path.stem}"
    # Seldom is a definition called so: only then is the text taken apart.
    if not any(map(_is_empty, DEFINED.findall(text))):
        return
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, Definition) and _is_empty((_kind(node), node.name)):
            yield f"{node.lineno}: {node.name}"


def _kind(node: Definition) -> str:
    return "class" if isinstance(node, ast.ClassDef) else "def"


def _is_empty(defined: tuple[str, str]) -> bool:
    """Any word of a class, the whole name of a function."""
    kind, name = defined
    words = [name.strip("_")]
    if kind == "class":
        words = re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", name)
    return any(word.lower() in EMPTY_NAMES for word in words)


def docstring(path: PurePosixPath, text: str) -> Iterator[str]:
    """Everything public says in a docstring what it gives."""
    if path.suffix != ".py":
        return
    module = ast.parse(text)
    if ast.get_docstring(module) is None:
        yield "1: module without a docstring"
    for node in _public(module):
        if ast.get_docstring(node) is None:
            yield f"{node.lineno}: {node.name} without a docstring"


def _public(node: ast.Module | ast.ClassDef) -> Iterator[Definition]:
    """Public definitions; what stands inside a function is nobody else's business."""
    for child in node.body:
        if isinstance(child, Definition) and not child.name.startswith("_"):
            yield child
            if isinstance(child, ast.ClassDef):
                yield from _public(child)


def named_floor(path: PurePosixPath, text: str) -> Iterator[str]:
    """The module docstring of the daemon names the floor it stands on."""
    if path.parts[:2] != ("daemon", "slackwater") or path.suffix != ".py":
        return
    if path.stem.startswith("__"):
        return
    floor = tree.floors().get(path.parts[2].removesuffix(".py"))
    if f"Floor {floor}. " not in _first_words(text):
        yield f"1: docstring without 'Floor {floor}.'"


def _first_words(text: str) -> str:
    """The string a module begins with, empty for none; the rest is not looked at."""
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type == tokenize.STRING:
            return token.string
        if token.type not in (tokenize.COMMENT, tokenize.NL):
            break
    return ""


def own_paths(path: PurePosixPath, text: str) -> Iterator[str]:
    """Nothing points into the folders of one machine."""
    if path.name == "LICENSE":
        return
    if not any(folder in text for folder in FOLDERS):
        return
    for number, line in enumerate(text.splitlines(), 1):
        if MACHINE_PATH.search(line):
            yield f"{number}: {line.strip()}"


def numbered_promise(path: PurePosixPath, text: str) -> Iterator[str]:
    """What is left to do has an issue number."""
    # Seldom does one need to be told from a text: only then is it taken apart.
    if path.suffix != ".py" or not PROMISE.search(text):
        return
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type == tokenize.COMMENT and PROMISE.search(token.string):
            yield f"{token.start[0]}: {token.string}"


def narrow_except(path: PurePosixPath, text: str) -> Iterator[str]:
    """Any exception at all is caught in two places, or handed on."""
    if path.suffix != ".py" or str(path) in LAST_RESORTS or path.parts[0] == "tests":
        return
    if "except" not in text and "suppress" not in text:
        return
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.ExceptHandler) and _catches_all(node):
            yield f"{node.lineno}: catches everything"
        elif _suppresses_all(node):
            yield f"{getattr(node, 'lineno', 0)}: suppresses everything"


def _catches_all(node: ast.ExceptHandler) -> bool:
    """`Exception` always; wider only without a bare `raise` at the end."""
    names = _names(node.type)
    if "Exception" in names:
        return True
    last = node.body[-1]
    hands_on = isinstance(last, ast.Raise) and last.exc is None
    return (node.type is None or "BaseException" in names) and not hands_on


def _suppresses_all(node: ast.AST) -> bool:
    if not isinstance(node, ast.Call) or "suppress" not in _names(node.func):
        return False
    caught = {name for argument in node.args for name in _names(argument)}
    return not caught.isdisjoint({"Exception", "BaseException"})


def _names(node: ast.AST | None) -> set[str]:
    """Every name and attribute in an expression, empty for none."""
    if node is None:
        return set()
    inside = list(ast.walk(node))
    return {n.id for n in inside if isinstance(n, ast.Name)} | {
        n.attr for n in inside if isinstance(n, ast.Attribute)
    }


def running_test(path: PurePosixPath, text: str) -> Iterator[str]:
    """No test is skipped or expected to fail: a gap shows as one."""
    if path.suffix != ".py" or path.parts[0] != "tests":
        return
    if not any(word in text for word in SKIPS):
        return
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Attribute) and node.attr in SKIPS:
            yield f"{node.lineno}: {node.attr}"


def run_bit(path: PurePosixPath, text: str) -> Iterator[str]:
    """What begins like a program can be run."""
    if text.startswith("#!") and not (tree.TOP / path).stat().st_mode & 0o111:
        yield "1: not executable"


LAWS: tuple[Law, ...] = (
    short_file,
    telling_name,
    docstring,
    named_floor,
    own_paths,
    numbered_promise,
    narrow_except,
    running_test,
    run_bit,
)
