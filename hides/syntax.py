"""Why a line of TOML or JSON can't be read: the usual slips of whoever writes one by hand.

A parser tells where it stumbled, in its own words. What a user needs is the line, and what to
write instead: a decimal comma, a unit behind a number, a text without quotes are slips of all
beginners (common practice, no published source). TOML is that of toml.io 1.0, JSON RFC 8259.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Sequence

from hides.errors import InputError

LONGEST_LINE = 100  # characters of a line that are shown

_NUMBER = r"[-+]?\d+(?:\.\d+)?"
_PLAIN = "Is it the right file, and whole?"
_ENDS = "the file ends in the middle."
# Slips behind "key =" of TOML or '"name":' of JSON: what stands there, and what to say of it
_VALUES: Sequence[tuple[str, str]] = (
    (r"\d{1,2}[./-]\d{1,2}[./-]\d{2,4}\b", "A date is written year-month-day: 2027-04-16."),
    (
        rf"(?P<a>{_NUMBER})\s*(?:-|–|to)\s*(?P<b>{_NUMBER})",
        "A range is a list: [{a}, {b}].",
    ),
    (r"(?P<a>[-+]?\d+),(?P<b>\d+)", "Numbers have a point, no comma: {a}.{b}."),
    (rf"(?P<a>{_NUMBER})\s*mm\b", "Leave out the unit, millimetres are meant: {a}."),
    (
        rf"(?P<a>{_NUMBER})\s*(?P<b>[^\s\d,.\]}}#]+)",
        "A number stands without its unit ({b}); `croupon explain` says which one is meant.",
    ),
    (r"(?P<a>True|False|TRUE|FALSE)\b", "Write true or false, in small letters."),
    (r"(?P<a>[Yy]es|[Nn]o)\b", "Write true or false."),
    (r"[“”„‟«»](?P<a>[^“”„‟«»]*)", 'Quotes are straight: "{a}".'),
    (r"(?P<a>[^\W\d][^\"',#\]}}]*)", 'A text stands in quotes: "{a}".'),
)


def toml_error(text: str, error: tomllib.TOMLDecodeError) -> InputError:
    """The error that a TOML text can't be read, with its line and the likeliest cause."""
    said, at = str(error), re.search(r"\(at line (\d+), column \d+\)", str(error))
    lines = text.splitlines()
    number = int(at[1]) if at else len(lines)
    line = lines[number - 1] if 0 < number <= len(lines) else ""
    return _error("TOML", said.split(" (at ")[0], line, number, _toml_cause(said, line))


def json_error(text: str, error: json.JSONDecodeError) -> InputError:
    """The error that a JSON text can't be read, with its line and the likeliest cause."""
    before, after = text[: error.pos].rstrip(), text[error.pos :].lstrip()
    if not text.strip():
        return _error("JSON", "the file is empty", "", 1, "Is it the right file?")
    if text.lstrip()[0] not in "{[":
        return _error("JSON", error.msg, text.lstrip().split("\n")[0], error.lineno, "")
    comma = before.endswith(",") and after[:1] in ("]", "}", "")
    trailing = comma or "trailing comma" in error.msg
    if after and not trailing:
        number, cause = error.lineno, _json_cause(error, before, after)
    else:  # the line before is where something is too much or missing
        number = before.count("\n") + 1
        cause = "Leave out the comma behind the last entry." if trailing else f"{_ENDS} {_PLAIN}"
    return _error("JSON", error.msg, text.split("\n")[number - 1], number, cause)


def _error(language: str, said: str, line: str, number: int, cause: str) -> InputError:
    shown = " ".join(line.split())
    shown = shown if len(shown) <= LONGEST_LINE else f"{shown[:LONGEST_LINE]} ..."
    what = f"this is not {language}: {said[:1].lower()}{said[1:]}"
    what += f", in “{shown}”." if shown else "."
    return InputError(what, mend=cause or _PLAIN, place=f"line {number}")


def _toml_cause(said: str, line: str) -> str:
    """What is likeliest wrong in a line; empty where nothing usual is."""
    if line.startswith("{"):
        return ""
    if "overwrite" in said:
        return "The key stands twice: keep one of them."
    if "twice" in said or "mutate" in said:
        return "The table stands twice: join them, or write [[sheath]] where several may be."
    if "Unclosed array" in said or "Unclosed inline" in said:
        return "A bracket ] or } is missing before this line."
    if re.match(r"\s*\[+[^\]]*$", line):
        return "A bracket ] is missing."
    if re.match(r"\s*[\w.-]+\s*:", line):
        return "TOML has an equals sign between key and value: key = value."
    if "\\" in line:
        return "Write / for \\ in the names of folders."
    if line.split("#")[0].count('"') % 2:
        return 'A quote " is missing.'
    return _value_cause(line.partition("=")[2])


def _json_cause(error: json.JSONDecodeError, before: str, after: str) -> str:
    line = before.rsplit("\n", 1)[-1]
    if after[0] == "'":
        return 'Quotes are double in JSON: "name".'
    if after[:2] in ("//", "/*") or after[0] == "#":
        return "JSON has no comments: leave it out."
    if re.search(r"[\d\]}\"el]$", before) and after[0] in '"{[':
        return "A comma is missing before this."
    slip = re.search(r"[:\[,]\s*([^:\[,]*(?:\d,)?)$", line)
    start = slip[1] if slip else ""
    return _value_cause(start + after.split("\n", 1)[0])


def _value_cause(value: str) -> str:
    value = value.strip().lstrip("[{ ")
    for pattern, says in _VALUES:
        found = re.match(pattern, value)
        if found and not re.match(r"(true|false|null|inf|nan)\b", value):
            return says.format(**{k: v.strip() for k, v in found.groupdict().items()})
    return ""
