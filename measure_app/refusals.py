"""The words in which a run file's broken type rules are told: key, rule, value got, what to do."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import msgspec

_EXTRA_HINT = "what another program wants to keep goes under extra"
_KINDS = {
    "float": "a number",
    "int": "a whole number",
    "str": "text",
    "bool": "true or false",
    "array": "a list",
    "object": "an object with keys",
    "null": "null",
}
_RELATIONS = {">=": "at least", "<=": "at most", ">": "greater than", "<": "less than"}
_CHOICES = {
    "measures": '"head", "throw" or "both"',
    "by": '"hand" or "found"',
    "model": '"radial"',
    "shape": '"round", "frustum" or "sphere"',
    "what": '"drop", "jet drop" or "jet front"',
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
    said, _, tail = str(error).partition(" - at `$")
    key = tail.rstrip("`").lstrip(".")
    if named := re.fullmatch(r"Object contains unknown field `(.*)`", said, re.DOTALL):
        return dotted(key, named[1]), f"unknown key; {_guess(named[1], key, kind)}{_EXTRA_HINT}"
    if named := re.fullmatch(r"Object missing required field `(.*)`", said):
        choices = f": {_CHOICES[named[1]]}" if named[1] in _CHOICES else ""
        return dotted(key, named[1]), f"is missing; add it{choices}"
    value = _value_at(tree, key)
    for pattern, tell in _SAYINGS:
        if match := re.fullmatch(pattern, said):
            return key, tell(match, key, value)
    return key, f"{said[:1].lower()}{said[1:]}, got {shown(value)}"


def _wrong_kind(match: re.Match[str], _key: str, value: Any) -> str:
    kinds = " or ".join(_KINDS.get(kind, kind) for kind in match[1].split(" | "))
    return f"must be {kinds}, got {shown(value)}"


def _wrong_count(match: re.Match[str], _key: str, value: Any) -> str:
    return f"must be a list of {match[1]} values, such as [312.4, 640.2], got {shown(value)}"


def _too_few_or_many(match: re.Match[str], key: str, value: Any) -> str:
    limit = f"{match[3]} {'or more' if match[2] == '>=' else 'or fewer'}"
    if key.endswith("graduations") and match[2] == ">=":
        return f"a rule needs {match[3]} graduations or more, got {len(value)}; mark one more"
    kind = f"text of {limit} characters" if match[1] == "str" else f"a list of {limit}"
    return f"must be {kind}, got {len(value)}"


def _out_of_range(match: re.Match[str], _key: str, value: Any) -> str:
    relation = _RELATIONS[match[1]]
    return f"must be {relation} {float(match[2]):g}, got {shown(value)}; check the value and its unit"


def _no_such_word(_match: re.Match[str], key: str, value: Any) -> str:
    choices = _CHOICES.get(key.rpartition(".")[2], "one of the words of the run format")
    return f"must be {choices}, got {shown(value)}"


def _no_digest(_match: re.Match[str], _key: str, value: Any) -> str:
    return f"must be 64 hexadecimal digits or null, got {shown(value)}"


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
    """Name a likely meant key in place of an unknown one, in words that end in "; "."""
    for step in re.findall(r"[^.\[\]]+", re.sub(r"\[\d+\]", "", key)):
        fields = {field.name: field.type for field in msgspec.structs.fields(kind)}
        kind = _struct_in(fields.get(step))
        if kind is None:
            return ""
    names = [field.name for field in msgspec.structs.fields(kind)]
    import difflib

    near = difflib.get_close_matches(name[:100], names, n=1)
    return f"did you mean {near[0]}? " if near else ""


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
        return "an object"
    if isinstance(value, list | tuple):
        return "a list" if len(value) > 4 else f"[{', '.join(shown(v) for v in value)}]"
    if isinstance(value, int) and abs(value) >= 10**18:
        return "a huge whole number"
    return repr(value)


def short(text: str, limit: int = 60) -> str:
    """Return text that fits a line and cannot move a terminal's cursor."""
    plain = "".join(c if c.isprintable() else "?" for c in text[: limit + 1])
    return plain if len(text) <= limit else plain[: limit - 1] + "…"
