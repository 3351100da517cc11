"""A file of hers written back: only what changed is written anew, down to the single value.

The one way in which a file that a person wrote is changed by the program. Comments, blank lines,
the order of keys and how things were written stay, wherever the value they stand by stays.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import yaml

from configs.errors import InputError
from configs.files import compose, dump_yaml, one_line, parse_yaml


def merged(text: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    """The text of a file that is to hold ``after``, with all of ``text`` that still holds.

    ``text``: as read, '' for a new file; ``before``: what it holds. New keys go before the first
    key that follows them in ``after``, else to the end. When the result would not read back as
    ``after``, all of it is written anew.
    """
    try:
        made = _changed(text, before, after)
        if parse_yaml(made, "") == dict(after):
            return made
    except (_Whole, InputError):
        pass
    return dump_yaml(after)


class _Whole(Exception):
    """Something that cannot be changed in places."""


@dataclass
class _Edits:
    """Places of a text (signs from, to) and what goes there."""

    text: str
    lines: list[int]  # where each line begins, and the end of the text
    made: list[tuple[int, int, str]] = field(default_factory=list)

    def put(self, start: int, end: int, new: str) -> None:
        self.made.append((start, end, new))

    def done(self) -> str:
        out = self.text
        numbered = [(start, end, n, new) for n, (start, end, new) in enumerate(self.made)]
        # from the end, and of two at one place the later first: no place moves before its turn
        for start, end, _, new in sorted(numbered, reverse=True):
            out = out[:start] + new + out[end:]
        return out


def _changed(text: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    text = text if text.endswith("\n") else f"{text}\n"
    root = compose(text)
    if not isinstance(root, yaml.MappingNode):
        raise _Whole  # an empty file
    starts = [0, *(m.end() for m in re.finditer("\n", text))]
    edits = _Edits(text, starts)
    _mapping(edits, root, before, after, len(starts) - 1)
    return edits.done()


@dataclass
class _Entry:
    """One key of a mapping: its nodes and its lines, without what belongs to the next."""

    key: Any
    name: yaml.ScalarNode
    value: Any
    first: int
    last: int  # the line after its own


def _entries(edits: _Edits, node: yaml.MappingNode, end: int) -> Iterator[_Entry]:
    heads = [k.start_mark.line for k, _ in node.value] + [end]
    for (name, value), (first, stop) in zip(node.value, pairwise(heads), strict=True):
        if stop <= first:
            raise _Whole  # two keys on a line
        last, column = stop, name.start_mark.column
        while last > first + 1:
            line = edits.text[edits.lines[last - 1] : edits.lines[last]]
            bare = line.strip()
            if bare and not (bare.startswith("#") and len(line) - len(line.lstrip()) <= column):
                break
            last -= 1  # blank lines and comments at its end belong to what follows
        yield _Entry(_as_key(name), name, value, first, last)


def _as_key(node: yaml.ScalarNode) -> Any:
    """A key as `parse_yaml` reads it, for keys that are texts or whole numbers."""
    return int(node.value) if node.tag.endswith(":int") else node.value


def _mapping(
    edits: _Edits,
    node: yaml.MappingNode,
    before: Mapping[Any, Any],
    after: Mapping[Any, Any],
    end: int,
) -> None:
    """The edits that make a block mapping hold ``after``."""
    entries = list(_entries(edits, node, end))
    there = {e.key: e for e in entries}
    if set(there) != set(before) or not set(there) & set(after):
        raise _Whole
    indent = " " * node.start_mark.column
    first = edits.lines[node.start_mark.line]
    dash = bool(edits.text[first : first + len(indent)].strip())  # of the list around it
    for e in entries:
        if e.key not in after:
            if dash and e is entries[0]:
                raise _Whole
            edits.put(edits.lines[e.first], edits.lines[e.last], "")
        elif not _same(before[e.key], after[e.key]):
            _value(edits, e, before[e.key], after[e.key], indent)
    order = list(after)
    for n, key in enumerate(order):
        if key in there:
            continue
        follow = next((there[k] for k in order[n + 1 :] if k in there), None)
        if follow is not None and not (dash and follow is entries[0]):
            at = follow.first
        else:
            at = entries[-1].last if indent else end
        edits.put(edits.lines[at], edits.lines[at], _section(key, after[key], indent))


def _value(edits: _Edits, e: _Entry, before: Any, after: Any, indent: str) -> None:
    """The edits that give one key its new value."""
    node = e.value
    mark = len(edits.made)
    try:
        if _inside(edits, node, before, after, e.last):
            return
    except _Whole:
        del edits.made[mark:]
    new = _section(e.key, after, indent)
    remark = re.match(r"[ \t]+#.*", edits.text[node.end_mark.index : edits.lines[e.last]])
    if remark:
        head, rest = new.split("\n", 1)
        new = f"{head}{remark[0].rstrip()}\n{rest}"
    start = e.name.start_mark.index  # after the dash of a list, where there is one
    edits.put(start, edits.lines[e.last], new[len(indent) :])


def _inside(edits: _Edits, node: Any, before: Any, after: Any, end: int) -> bool:
    """Whether a value was changed in its own place; else its whole section is to be written."""
    block = isinstance(node, yaml.CollectionNode) and not node.flow_style
    if block and isinstance(before, Mapping) and isinstance(after, Mapping) and after:
        _mapping(edits, node, before, after, end)
        return True
    if block and isinstance(before, list) and isinstance(after, list | tuple):
        if len(before) != len(after) or len(before) != len(node.value):
            return False
        heads = [i.start_mark.line for i in node.value] + [end]
        for item, old, new, stop in zip(node.value, before, after, heads[1:], strict=True):
            if not _same(old, new) and not _inside(edits, item, old, new, stop):
                return False
        return True
    if block or node.start_mark.line != node.end_mark.line or not _is_flat(after):
        return False
    text = one_line(after)
    if "\n" in text:
        return False
    space = " " if node.start_mark.index == node.end_mark.index else ""
    edits.put(node.start_mark.index, node.end_mark.index, space + text)
    return True


def _same(one: Any, other: Any) -> bool:
    """Whether two values are alike all the way down; true and 1 are not."""
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(_same(one[k], other[k]) for k in one)
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(map(_same, one, other))
    return bool(one == other) and isinstance(one, bool) == isinstance(other, bool)


def _is_flat(value: Any) -> bool:
    """Whether a value stands on one line: no list or mapping, or one of such."""
    if isinstance(value, Mapping):
        value = list(value.values())
    each: Sequence[Any] = value if isinstance(value, list | tuple) else [value]
    return not any(isinstance(v, Mapping | list | tuple) for v in each)


def _section(key: Any, value: Any, indent: str) -> str:
    return "".join(f"{indent}{line}\n" for line in dump_yaml({key: value}).splitlines())
