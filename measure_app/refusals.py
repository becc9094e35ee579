"""The words in which a run file's broken type rules are told: key, rule, value got, what to do."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import msgspec

from measure_app.errors import SetupIncomplete
from measure_app.words import marked, said

_KINDS = {
    "float": marked("a number"),
    "int": marked("a whole number"),
    "str": marked("text"),
    "bool": marked("true or false"),
    "array": marked("a list"),
    "object": marked("an object with keys"),
    "null": "null",
}
_RELATIONS = {
    ">=": marked("must be at least {limit}, got {value}; check the value and its unit"),
    "<=": marked("must be at most {limit}, got {value}; check the value and its unit"),
    ">": marked("must be greater than {limit}, got {value}; check the value and its unit"),
    "<": marked("must be less than {limit}, got {value}; check the value and its unit"),
}
_CHOICES = {
    "measures": marked('"head", "throw" or "both"'),
    "by": marked('"hand" or "found"'),
    "model": '"radial"',
    "shape": marked('"round", "frustum" or "sphere"'),
    "what": marked('"drop", "jet drop" or "jet front"'),
}


def explained(error: msgspec.ValidationError, tree: Any, kind: type[msgspec.Struct]) -> tuple[str, str]:
    """Return key and words for plain objects that do not fit a struct type.

    Parameters
    ----------
    error : msgspec.ValidationError
        What the conversion said.
    tree : Any
        The plain objects that did not fit.
    kind : type
        The struct type that they should have fitted.
    """
    told, _, tail = str(error).partition(" - at `$")
    key = tail.rstrip("`").lstrip(".")
    if named := re.fullmatch(r"Object contains unknown field `(.*)`", told, re.DOTALL):
        near = _guess(named[1], key, kind)
        words = said("unknown key; what another program wants to keep goes under extra")
        if near:
            words = said(
                "unknown key; did you mean {near}? what another program wants to keep goes under extra",
                near=near,
            )
        return dotted(key, named[1]), words
    if named := re.fullmatch(r"Object missing required field `(.*)`", told):
        if named[1] in _CHOICES:
            return dotted(key, named[1]), said(
                "is missing; add it: {choices}", choices=said(_CHOICES[named[1]])
            )
        return dotted(key, named[1]), said("is missing; add it")
    value = _value_at(tree, key)
    for pattern, tell in _SAYINGS:
        if match := re.fullmatch(pattern, told):
            return key, tell(match, key, value)
    rule = f"{told[:1].lower()}{told[1:]}"
    return key, said("{rule}, got {value}", rule=rule, value=shown(value))


def _wrong_kind(match: re.Match[str], _key: str, value: Any) -> str:
    kinds = said(" or ").join(said(_KINDS.get(kind, kind)) for kind in match[1].split(" | "))
    return said("must be {kinds}, got {value}", kinds=kinds, value=shown(value))


def _wrong_count(match: re.Match[str], _key: str, value: Any) -> str:
    return said(
        "must be a list of {count} values, such as {example}, got {value}",
        count=match[1],
        example="[312.4, 640.2]",
        value=shown(value),
    )


def _too_few_or_many(match: re.Match[str], key: str, value: Any) -> str:
    least = match[2] == ">="
    if key.endswith("graduations") and least:
        words = marked("a rule needs {limit} graduations or more, got {count}; mark one more")
    elif match[1] == "str" and least:
        words = marked("must be text of {limit} or more characters, got {count}")
    elif match[1] == "str":
        words = marked("must be text of {limit} or fewer characters, got {count}")
    elif least:
        words = marked("must be a list of {limit} or more, got {count}")
    else:
        words = marked("must be a list of {limit} or fewer, got {count}")
    return said(words, limit=match[3], count=len(value))


def _out_of_range(match: re.Match[str], _key: str, value: Any) -> str:
    # Written with a point, as in the file that it speaks of.
    return said(_RELATIONS[match[1]], limit=f"{float(match[2]):g}", value=shown(value))


def _no_such_word(_match: re.Match[str], key: str, value: Any) -> str:
    choices = _CHOICES.get(key.rpartition(".")[2], marked("one of the words of the run format"))
    return said("must be {choices}, got {value}", choices=said(choices), value=shown(value))


def _no_digest(_match: re.Match[str], _key: str, value: Any) -> str:
    return said("must be 64 hexadecimal digits or null, got {value}", value=shown(value))


_SAYINGS: tuple[tuple[str, Callable[[re.Match[str], str, Any], str]], ...] = (
    (r"Expected `(.*)`, got `.*`", _wrong_kind),
    (r"Expected `array` of length (\d+), got \d+", _wrong_count),
    (r"Expected `(array|str)` of length (>=|<=) (\d+)", _too_few_or_many),
    (r"Expected `(?:float|int)` (>=|<=|>|<) (\S+)", _out_of_range),
    (r"Expected `str` matching regex .*", _no_digest),
    (r"Invalid enum value .*", _no_such_word),
    (r"Invalid value '.*'", _no_such_word),
)


def _guess(name: str, key: str, kind: Any) -> str:
    """Name a likely meant key in place of an unknown one; "" where none is near."""
    for step in re.findall(r"[^.\[\]]+", re.sub(r"\[\d+\]", "", key)):
        fields = {field.name: field.type for field in msgspec.structs.fields(kind)}
        kind = _struct_in(fields.get(step))
        if kind is None:
            return ""
    names = [field.name for field in msgspec.structs.fields(kind)]
    import difflib

    near = difflib.get_close_matches(name[:100], names, n=1)
    return near[0] if near else ""


def _struct_in(kind: Any) -> Any:
    """Return the first struct type inside a type such as ``tuple[RulePart, ...]``, None if there is none."""
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        return kind
    for argument in getattr(kind, "__args__", ()):
        if (found := _struct_in(argument)) is not None:
            return found
    return None


def _value_at(tree: Any, key: str) -> Any:
    value = tree
    for name, index in re.findall(r"([^.\[\]]+)|\[(\d+)\]", key):
        value = value[name] if name else value[int(index)]
    return value


@contextmanager
def named_in(file: Path) -> Iterator[None]:
    """Let what a run lacks be told with the name of its file, where several may be at hand.

    Raises
    ------
    SetupIncomplete
        As raised within, with the file before the key.
    """
    try:
        yield
    except SetupIncomplete as error:
        raise SetupIncomplete(error.words, where=placed(str(file), error.where)) from None


def placed(where: str, key: str) -> str:
    """Join the file and the key of an error; either may be empty."""
    return f"{where}: {key}" if where and key else where or key


def dotted(key: str, name: str) -> str:
    """Return the key of `name` inside the object at `key`."""
    return f"{key}.{short(name)}" if key else short(name)


def shown(value: Any) -> str:
    """Return a value of a file as one short piece of text."""
    if isinstance(value, str):
        return f'"{short(value)}"'
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "null"}[value]
    if isinstance(value, dict):
        return said("an object")
    if isinstance(value, list | tuple):
        return said("a list") if len(value) > 4 else f"[{', '.join(shown(v) for v in value)}]"
    if isinstance(value, int) and abs(value) >= 10**18:
        return said("a huge whole number")
    return repr(value)


def short(text: str, limit: int = 60) -> str:
    """Return text that fits a line and cannot move a terminal's cursor."""
    plain = "".join(c if c.isprintable() else "?" for c in text[: limit + 1])
    return plain if len(text) <= limit else plain[: limit - 1] + "…"


def without_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Make an object of a JSON file's pairs; for `json.loads`.

    Raises
    ------
    ValueError
        A key stands twice: JSON leaves open which one counts, so neither does.
    """
    tree = dict(pairs)
    if len(tree) < len(pairs):
        twin = Counter(key for key, _ in pairs).most_common(1)[0][0]
        words = said("the key stands twice in one object; remove one of them")
        raise ValueError(f"{short(twin)}: {words}")
    return tree
