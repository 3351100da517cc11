"""The element tree of an SVG file, read with every door shut, and what its style sheet hides.

First station of the intake for SVG. The XML is read by expat: no entities, no internal DTD,
nothing fetched from elsewhere, and limits on depth and elements, so that a hostile file costs a
message and not the machine.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.parsers import expat

from configs.errors import InputError

MAX_ELEMENTS = 20_000  # also after every <use> is carried out
MAX_DEPTH = 60
MAX_STYLE = 200_000  # characters of all style sheets
MAX_RULES = 200  # that show or hide
MAX_ATTRIBUTE = 20_000  # characters of one, but for those that hold the points of a line

_SVG = "http://www.w3.org/2000/svg"
_LONG = ("d", "points", "href")
_PLAIN = "Save it as plain SVG from the program it came from."
_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
_AT = re.compile(r"@[^{};]*(?:;|\{(?:[^{}]|\{[^{}]*\})*\})")
_RULE = re.compile(r"([^{}]*)\{([^{}]*)\}")
_MOVING = re.compile(r"(^|;)\s*(transform|rotate|scale|translate|zoom|d)(-[a-z]+)?\s*:")
_SIMPLE = re.compile(r"(\*|[A-Za-z][\w-]*)?((?:[.#][\w-]+)*)")


@dataclass(eq=False)
class Node:
    """One element: its tag without the namespace ('' in a foreign one), its row in the file."""

    tag: str
    attributes: dict[str, str]
    row: int
    children: list[Node] = field(default_factory=list)
    title: str = ""

    def all(self) -> Iterator[Node]:
        """This element and all below it, in the order of the file."""
        stack = [self]
        while stack:
            node = stack.pop()
            yield node
            stack += reversed(node.children)


Rule = tuple[str, frozenset[str], frozenset[str], dict[str, str]]  # tag, classes, ids → said


@dataclass(frozen=True)
class Sheet:
    """The rules of the style sheets that show or hide."""

    rules: tuple[Rule, ...] = ()
    unread: bool = False

    def said_of(self, node: Node) -> dict[str, str]:
        """``display`` and ``visibility`` of an element as attributes, sheets and its style say."""
        a = node.attributes
        own: dict[str, str] = {k: a[k].strip().lower() for k in ("display", "visibility") if k in a}
        if self.rules:
            classes, name = set(a.get("class", "").split()), a.get("id", "")
            for tag, wanted, ids, said in self.rules:
                if tag in ("", "*", node.tag) and wanted <= classes and ids <= {name}:
                    own.update(said)
        own.update(shown(a.get("style", "")))
        return own


def shown(style: str) -> dict[str, str]:
    """``display`` and ``visibility`` among the declarations of a style, as written."""
    found = {}
    for part in style.split(";"):
        key, colon, value = part.partition(":")
        key = key.strip().lower()
        if colon and key in ("display", "visibility"):
            found[key] = value.replace("!important", "").strip().lower()
    return found


def moves(style: str) -> bool:
    """Whether declarations move or shape a line, which only attributes may do here."""
    return bool(_MOVING.search(style.lower()))


def parse(data: bytes, where: str) -> tuple[Node, Sheet]:
    """The element tree and its style sheets.

    Raises:
        InputError: not SVG, not well-formed, past the limits, or it would need what is not read
            (entities, other files, a style sheet that moves lines).
    """
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
    parser.buffer_text = True
    stack: list[Node] = []
    roots: list[Node] = []
    sheets: list[str] = []
    count = sheet_length = 0

    def refuse(what: str, remedy: str) -> InputError:
        return InputError.of(f"{where} line {parser.CurrentLineNumber}", what, remedy)

    def doctype(name: str, system: str | None, public: str | None, internal: int) -> None:
        if internal:
            raise refuse("declares its own entities or DTD, which is not read.", _PLAIN)

    def entity(*_: object) -> None:
        raise refuse("declares or uses an entity, which is not read.", _PLAIN)

    def external(*_: object) -> int:
        raise refuse("refers to another file, which is not fetched.", _PLAIN)

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal count
        count += 1
        for key, value in attributes.items():
            if len(value) > MAX_ATTRIBUTE and key not in _LONG and " " not in key:
                raise refuse(f"has {len(value)} letters in its '{key[:40]}'.", _PLAIN)
        if count > MAX_ELEMENTS:
            raise refuse(f"holds more than {MAX_ELEMENTS} elements.", "Save the outlines alone.")
        if len(stack) >= MAX_DEPTH:
            raise refuse(f"nests deeper than {MAX_DEPTH} groups.", _PLAIN)
        namespace, _, tag = name.rpartition(" ")
        node = Node(tag if namespace in (_SVG, "") else "", attributes, parser.CurrentLineNumber)
        (stack[-1].children if stack else roots).append(node)
        stack.append(node)

    def end(_: str) -> None:
        stack.pop()

    def text(characters: str) -> None:
        nonlocal sheet_length
        if len(stack) > 1 and stack[-1].tag == "title":
            stack[-2].title = (stack[-2].title + characters)[:200]
        if stack[-1].tag == "style":
            sheet_length += len(characters)
            if sheet_length > MAX_STYLE:
                raise refuse(f"has a style sheet of more than {MAX_STYLE} letters.", _PLAIN)
            sheets.append(characters)

    parser.StartDoctypeDeclHandler = doctype
    parser.EntityDeclHandler = parser.UnparsedEntityDeclHandler = entity
    parser.NotationDeclHandler = parser.SkippedEntityHandler = entity
    parser.ExternalEntityRefHandler = external
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = text
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        raise InputError.of(
            f"{where} line {error.lineno}",
            f"is not well-formed XML ({expat.ErrorString(error.code)}).",
            "Is it an SVG file? " + _PLAIN,
        ) from error
    except (UnicodeError, LookupError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError.of(where, "is written in an encoding that is not read.", _PLAIN) from error
    root = roots[0]
    if root.tag != "svg":
        raise InputError.of(where, "is not an SVG file.", "Its outermost element must be <svg>.")
    return root, _sheet("".join(sheets), where)


def _sheet(text: str, where: str) -> Sheet:
    """What the style sheets of a file show and hide; their other rules only change colours.

    Raises:
        InputError: a rule moves or shapes lines.
    """
    rules: list[Rule] = []
    unread = False
    text = _COMMENT.sub(" ", text)
    if "@" in text:  # @media and the like: for some viewers only
        unread = bool(re.search(r"display|visibility", "".join(_AT.findall(text))))
        text = _AT.sub(" ", text)
    for selectors, body in _RULE.findall(text):
        if moves(body):
            raise InputError.of(
                where, "moves or shapes its lines by a style sheet, which is not read.", _PLAIN
            )
        said = shown(body)
        if not said:
            continue
        for selector in selectors.split(","):
            match = _SIMPLE.fullmatch(selector.strip())
            if match is None or not match.group():
                unread = True
                continue
            if len(rules) >= MAX_RULES:
                raise InputError.of(
                    where, f"hides things by more than {MAX_RULES} style rules.", _PLAIN
                )
            classes, ids = (frozenset(re.findall(rf"{c}([\w-]+)", match[2])) for c in (r"\.", "#"))
            rules.append((match[1] or "", classes, ids, said))
    return Sheet(tuple(rules), unread)
