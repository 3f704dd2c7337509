"""Plays scripts on the node's rules, in Python and MicroPython alike.

A script is a list of steps, `[name, argument …]`; bytes travel as hex. What the node
says to each step comes back as lines of canonical JSON, so that two runtimes can be
compared byte for byte.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from types import ModuleType
    from typing import Any

    Script = list[list[Any]]


def unhex(digits: str) -> bytes:
    """Gives the bytes of pairs of hex digits."""
    return bytes([int(digits[at : at + 2], 16) for at in range(0, len(digits), 2)])


class Player:
    """Plays steps one by one; `rules` is the module of the node."""

    def __init__(self, rules: "ModuleType") -> None:
        self.rules = rules
        self.node: "Any" = None

    def line(self, step: "list[Any]") -> str:
        """Gives what the node says to one step, with a beat at its end."""
        told = self._told(step)
        if self.node is not None:
            told = told + [self.node.beat(), ("next", str(self.node.next_ms()))]
        said = {str(at): {item[0]: item[1]} for at, item in enumerate(told)}
        return str(self.rules.canonical(said))

    def _told(self, step: "list[Any]") -> "list[tuple[str, Any]]":
        if step[0] == "power":
            key = unhex(step[4])
            self.node = self.rules.Node(step[1], step[2], step[3], key, step[5])
            return []
        if step[0] == "code":
            return [("code", self.rules.code(unhex(step[1]), unhex(step[2])))]
        node = self.node
        acts = {
            "command": lambda: node.command(unhex(step[1]), step[2], retained=step[3]),
            "hold": lambda: node.hold(unhex(step[1]), step[2]),
            "tick": lambda: node.tick(step[1]),
            "input": lambda: node.local_input(step[1], step[2], active=step[3]),
            "fail": lambda: node.fail(step[1], step[2]),
        }
        return acts[step[0]]()  # type: ignore[no-any-return]  # the node's own list


def play(rules: "ModuleType", script: "Script") -> "list[str]":
    """Gives the lines of one script."""
    player = Player(rules)
    return [player.line(step) for step in script]
