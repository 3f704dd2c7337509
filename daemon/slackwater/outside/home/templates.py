"""Small templates that pick one figure out of a state document.

Floor 6. One subject: the text of templates. Laws here: what is not in the document is
`None`, which the home automation shows as unknown, and never an old figure or 0.
Source: Jinja templates, as the MQTT integration of Home Assistant takes them.
"""


def picked(*path: str) -> str:
    """The expression for what stands at a path; `none` where a part is missing."""
    steps = [f".get('{name}', {{}})" for name in path[:-1]]
    return f"value_json{''.join(steps)}.get('{path[-1]}')"


def shown(*path: str) -> str:
    """The template of a figure or word as it stands in the document."""
    return f"{{{{ {picked(*path)} }}}}"


def in_ml(*path: str) -> str:
    """The template of microlitres, told in millilitres."""
    value = picked(*path)
    return f"{{% set ul = {value} %}}{{{{ none if ul is none else ul / 1000 }}}}"


def words(*path: str) -> str:
    """The template of a sentence; a state holds 255 characters at most."""
    value = picked(*path)
    return f"{{% set text = {value} %}}{{{{ text[:255] if text else none }}}}"


def flag(*path: str) -> str:
    """The template of yes or no."""
    value = picked(*path)
    return (
        f"{{% set flag = {value} %}}"
        "{{ none if flag is none else 'ON' if flag else 'OFF' }}"
    )


def is_word(word: str, *path: str) -> str:
    """The template that says whether a word stands there."""
    return f"{{{{ 'ON' if {picked(*path)} == '{word}' else 'OFF' }}}}"


def event_of(kinds: tuple[str, ...]) -> str:
    """The template of an event message; of a kind that is not meant, nothing."""
    return (
        f"{{% if value_json.event in {list(kinds)} %}}"
        "{{ dict(value_json.figures, event_type=value_json.event) | to_json }}"
        "{% endif %}"
    )


def attribute(name: str, *path: str) -> str:
    """The template of the one attribute that a button takes its target from."""
    return f"{{{{ {{'{name}': {picked(*path)}}} | to_json }}}}"
