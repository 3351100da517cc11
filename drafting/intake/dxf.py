"""Outlines from a DXF file, read by ezdxf: units, blocks, layers.

First station of the intake. A block with lines on the pattern-interchange layers (1 boundary,
4 notches, 6 mirror line, 7 grain, 8 internal lines, 11 cut-outs, 13 drill holes, 14 sew line;
after ASTM D6673, layer numbers from listings) is one piece; any other drawing gives every closed
outline that is in it. What lies on a layer that is switched off or frozen is not taken.
"""

from __future__ import annotations

import io
import math
import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from itertools import chain, islice, pairwise
from typing import Any

import numpy as np

from configs import clean
from configs.errors import Fault, InputError
from drafting.intake.drawn import CUTTING, DRILL, FOLD, GRAIN, MARK, NOTCH, SEWING, Drawn
from drafting.intake.dxfshape import NO_LINE, Unread, chains_of
from drafting.intake.found import Found, many
from drafting.intake.geometry import LARGEST, Chain
from drafting.intake.judge import outlines_from
from drafting.intake.svgshape import UNIT_MM

MAX_BYTES = 10_000_000
MAX_ENTITIES = 20_000  # also after every INSERT is carried out
MAX_TAGGED = 60_000  # entities, vertices and table entries before ezdxf reads them (40 µs each)
MAX_TAGS = 500_000  # pairs of lines of the file
MAX_VERTICES = 100_000
MAX_NESTING = 8
APP_ID = "CHALKBEAM"  # our extended data, see `drafting.export.dxf`

_LINES = {
    "1": CUTTING,
    "14": SEWING,
    "7": GRAIN,
    "6": FOLD,
    "4": NOTCH,
    "8": MARK,
    "11": MARK,
    "13": DRILL,
}
_NAMES = {"8": "line", "11": "cut-out"}  # of marks to which the file gives no name
_SAYS = {"piece name": "name", "quantity": "cut"} | {
    word: word for word in ("pair", "turns", "larger", "category")
}
_SAID = re.compile(  # what texts of the standard say that is read, or says nothing of a line
    r"\s*(piece name|quantity|category|pair|turns|larger|style name|units?|author|size|"
    r"sample size|creation (date|time)|version|material|grade rule table)\s*:",
    re.IGNORECASE,
)
_POINTS = (NOTCH, DRILL)  # kinds that may be drawn as a point
# $INSUNITS codes of the DXF reference that a drawing of a garment can have → mm
_INSUNITS_MM = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 10: 914.4, 14: 100.0}
_PLAIN = "Save it as ASCII DXF (R12 or R2000) from the program it came from."
_ALONE = "Save the outlines of one garment alone."
_DAMAGED = (  # ezdxf meets broken tags with whatever Python raises; to her they are all one thing
    ArithmeticError,
    LookupError,
    TypeError,
    ValueError,
    AttributeError,
    RecursionError,
)


def dxf_outlines(
    data: bytes, where: str, unit: str | None = None, only: Collection[str] = (), scale: float = 1.0
) -> Found:
    """The closed outlines of a DXF file's bytes; ``where`` names it in messages, all else as in
    `drafting.intake.read_outlines`."""
    return _Reader(_document(data, where), where, unit, scale).found(only)


def _document(data: bytes, where: str) -> Any:
    """The file as an ezdxf document, mended where ezdxf can mend it."""
    clean.library("ezdxf")
    from ezdxf import recover
    from ezdxf.lldxf.const import DXFError

    if data[:22] == b"AutoCAD Binary DXF\r\n\x1a\x00":
        raise InputError.of(where, "is a binary DXF.", _PLAIN)
    if b"SECTION" not in data[:200_000]:
        raise InputError.of(where, "is not a DXF file.", "Is it the right file?")
    # ezdxf takes 40 µs and 1 kB for each, so the file is counted before it is read
    codes = data.replace(b"\r", b"").split(b"\n")[::2]
    tagged = sum(code.strip() == b"0" for code in codes)
    if tagged > MAX_TAGGED or len(codes) > MAX_TAGS:
        raise InputError.of(
            where,
            f"holds {tagged} entities and points in {len(codes)} entries; at most {MAX_TAGGED} "
            f"in {MAX_TAGS} are read.",
            _ALONE,
        )
    try:
        document, _ = recover.read(io.BytesIO(data), errors="surrogateescape")
    except (DXFError, OSError) as error:
        said = _clean(error)[:200]
        raise InputError.of(where, f"cannot be read as DXF ({said}).", _PLAIN) from error
    except _DAMAGED as error:
        raise InputError.of(where, "cannot be read as DXF: it is damaged.", _PLAIN) from error
    return document


class _Reader:
    """Walks the model space, block by block, under the limits."""

    def __init__(self, document: Any, where: str, unit: str | None, larger: float) -> None:
        self.document = document
        self.where = where
        self.unit = unit
        self.larger = larger
        self.notes: list[str] = []
        self.entities = 0
        self.vertices = 0
        self.scale = 1.0
        self.unread = Counter[str]()
        self.hidden = 0
        self.texts_left = 0
        self.off = {
            layer.dxf.name.lower(): layer.is_frozen()
            for layer in document.layers
            if layer.is_off() or layer.is_frozen()
        }

    def found(self, only: Collection[str]) -> Found:
        try:
            drawn = self.drawn()
        except InputError:
            raise
        except _DAMAGED as error:
            raise InputError.of(
                self.where, "cannot be read as DXF: it is damaged.", _PLAIN
            ) from error
        for kind, count in sorted(self.unread.items()):
            self.notes.append(f"{count} × {kind} left out: not a line that is read.")
        if self.texts_left:
            self.notes.append(f"{many(self.texts_left, 'text')} left out.")
        if self.hidden:
            self.notes.append(f"{many(self.hidden, 'line')} on layers switched off left out.")
        return outlines_from(drawn, self.where, self.notes, only)

    def drawn(self) -> list[Drawn]:
        self.scale = self.unit_mm() * self.larger
        drawn: list[Drawn] = []
        space = list(self.document.modelspace())
        inserts = [e for e in space if e.dxftype() == "INSERT"]
        if not space:  # pieces may stand in blocks that nothing inserts
            for block in self.document.blocks:
                if not block.name.startswith("*"):
                    drawn += self.piece(block.name, list(block))
        for insert in inserts:
            drawn += self.piece(str(insert.dxf.name), list(self.expanded(insert, 0)))
        return drawn + self.loose((e for e in space if e.dxftype() != "INSERT"), "")

    def unit_mm(self) -> float:
        """Millimetres per drawing unit: as she says, else from the header or the style text."""
        code = self.document.header.get("$INSUNITS", 0)
        declared = _INSUNITS_MM.get(code if isinstance(code, int) else 0)
        said = f"$INSUNITS {code}"
        if declared is None:
            for text in self.texts():
                match = re.match(r"\s*units?\s*:\s*(metric|english)", text, re.IGNORECASE)
                if match:
                    declared = 1.0 if match.group(1).lower() == "metric" else 25.4
                    said = f"'{text.strip()[:40]}'"
                    break
        if self.unit is None:
            if declared is None:
                raise InputError.of(
                    self.where,
                    "declares no unit, so its scale is unknown.",
                    "Say what one unit of the drawing is: --unit mm, cm or in.",
                )
            return declared
        told = UNIT_MM[self.unit]
        if declared is not None and not math.isclose(told, declared, rel_tol=1e-3):
            self.notes.append(
                f"The file says that one unit of its drawing is {declared:.6g} mm ({said}); "
                f"{told:.6g} mm was taken, as --unit {self.unit} says."
            )
        return told

    def texts(self) -> Iterator[str]:
        every = chain.from_iterable([self.document.modelspace(), *self.document.blocks])
        return islice((text for e in every if (text := _text_of(e)) is not None), 5000)

    def expanded(self, insert: Any, depth: int) -> Iterator[Any]:
        """The entities of an INSERT in the drawing's frame, nested ones too."""
        if depth > MAX_NESTING:
            raise self.fault(f"nests blocks deeper than {MAX_NESTING}.")
        name = _clean(insert.dxf.name)[:40]
        block = self.document.blocks.get(insert.dxf.name)
        if block is None:
            raise self.fault(f"inserts the block '{name}', which is not there.")
        if block.block is not None and block.block.is_xref:
            raise self.fault("refers to another file, which is not fetched.")
        layer = str(insert.dxf.layer).lower()
        if self.off.get(layer) or insert.dxf.get("invisible", 0):  # frozen: all that is in it
            self.hidden += 1
            return
        self.tally(len(block) * max(1, insert.mcount))
        for one in insert.multi_insert() if insert.mcount > 1 else (insert,):
            for e in one.virtual_entities():
                if str(e.dxf.layer) == "0":  # as its block lies
                    e.dxf.layer = insert.dxf.layer
                if e.dxftype() == "INSERT":
                    yield from self.expanded(e, depth + 1)
                else:
                    yield e

    def tally(self, entities: int) -> None:
        self.entities += entities
        if self.entities > MAX_ENTITIES:
            raise self.fault(f"draws more than {MAX_ENTITIES} entities.")

    def fault(self, what: str) -> InputError:
        return InputError.of(self.where, what, _ALONE)

    # -- entities

    def piece(self, block: str, entities: list[Any]) -> list[Drawn]:
        """One block: a piece when it has the interchange layers, else loose lines."""
        block = _clean(block)
        if not {str(e.dxf.layer) for e in entities} & {"1", "14"}:
            return self.loose(entities, block)
        about = _about(entities)
        name = about.pop("name", "") or block
        if "turns" not in about:  # in a file of ours all texts are read, or come from other lines
            self.count_texts(entities)
        place = f"block '{block[:40]}'"
        drawn = []
        for e in entities:
            layer = str(e.dxf.layer)
            kind = _LINES.get(layer)
            chains = self.chains(e, points=kind in _POINTS)
            if kind is None:
                if chains:
                    self.unread[f"line on layer '{_clean(layer)[:40]}' of '{name}'"] += 1
                continue
            note = _note_of(e)
            if kind == MARK and not note:
                note = {"name": _NAMES[layer]}
            if kind == SEWING:
                for whole in chains:
                    for edge, part in _named_edges(e, whole):
                        drawn.append(Drawn(part, name, place, name, edge, kind, about))
            drawn += [Drawn(c, name, place, name, "", kind, about, note) for c in chains]
        return drawn

    def count_texts(self, entities: Iterable[Any]) -> None:
        texts = (text for e in entities if (text := _text_of(e)) is not None)
        self.texts_left += sum(not _SAID.match(text) for text in texts)

    def loose(self, entities: Iterable[Any], block: str) -> list[Drawn]:
        drawn = []
        entities = list(entities)
        self.count_texts(entities)
        for e in entities:
            self.tally(1)
            layer = _clean(e.dxf.layer)
            name = block or (layer if layer != "0" else "")
            place = f"{e.dxftype()} #{e.dxf.handle or '?'} on layer '{layer[:40]}'"
            drawn += [Drawn(c, name, place) for c in self.chains(e)]
        return drawn

    def chains(self, e: Any, points: bool = False) -> list[Chain]:
        """An entity as chains in mm, y up (view from above); empty for what draws no line.

        ``points``: a POINT is one, a line of no length.
        """
        kind = e.dxftype()
        if kind in NO_LINE or (kind == "POINT" and not points):
            return []
        if str(e.dxf.layer).lower() in self.off or e.dxf.get("invisible", 0):
            self.hidden += 1
            return []
        try:
            with np.errstate(all="ignore"):  # what is no number is told below
                made = [
                    c.moved(np.diag([self.scale, self.scale, 1.0]))
                    for c in chains_of(e, self.scale)
                ]
        except Unread as unread:
            self.unread[str(unread)] += 1
            return []
        except InputError as error:
            raise InputError([Fault(self.where, f.what, f.remedy) for f in error.faults]) from error
        for line in made:
            self.vertices += len(line.segments)
            if self.vertices > MAX_VERTICES:
                raise self.fault(f"draws more than {MAX_VERTICES} points.")
            if not all(np.all(np.abs(s.control) <= LARGEST) for s in line.segments):
                raise self.fault("holds a coordinate that is no number, or far too large.")
        return made


def _text_of(e: Any) -> str | None:
    """What a text says; None of anything else."""
    kind = e.dxftype()
    return _clean(e.dxf.text if kind == "TEXT" else e.text) if kind in ("TEXT", "MTEXT") else None


def _about(entities: Iterable[Any]) -> dict[str, str]:
    """What a block says of its piece: name, cut, pair, turns, and what our extended data adds."""
    about: dict[str, str] = {}
    for e in entities:
        if e.dxftype() == "TEXT":
            key, _, value = (part.strip() for part in _clean(e.dxf.text).partition(":"))
            if value and (said := _SAYS.get(key.lower())):
                about[said] = value
        elif str(e.dxf.layer) == "1":
            about |= _note_of(e)
    category = about.pop("category", "").replace(" ", "").upper()
    both = re.fullmatch(r"(\d{1,2})\s*,\s*(\d{1,2})", about.get("cut", ""))
    if both:  # left and right are counted apart
        about["cut"] = str(int(both.group(1)) + int(both.group(2)))
    if both or category in ("L,R", "R,L"):
        about["pair"] = "true"
        if about.get("cut", "1") == "1":
            about["cut"] = "2"
    return about


def _note_of(e: Any) -> dict[str, str]:
    """Key → value of our extended data with an entity."""
    if not e.has_xdata(APP_ID):
        return {}
    texts = [_clean(tag.value) for tag in e.get_xdata(APP_ID) if tag.code == 1000]
    return {k: v for k, equals, v in (t.partition("=") for t in texts[:60]) if equals}


def _clean(text: Any) -> str:
    r"""Text as it can be written again: the two halves of a letter past U+FFFF joined (ezdxf has
    read each \U+XXXX alone), half letters and bytes that are none made the replacement character."""
    return str(text).encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")


def _named_edges(e: Any, chain: Chain) -> list[tuple[str, Chain]]:
    """The edges that our extended data names on a closed straight-sided sew line."""
    if not e.has_xdata(APP_ID) or not chain.closed:
        return []
    values = [tag.value for tag in e.get_xdata(APP_ID) if tag.code in (1000, 1071)]
    names, starts = values[0::2], values[1::2]
    count = len(chain.segments)
    good = (
        len(names) == len(starts) >= 2
        and len(set(names)) == len(names)
        and all(isinstance(s, int) and 0 <= s < count for s in starts)
        and all(a < b for a, b in pairwise(starts))
    )
    if not good:
        return []
    ring = chain.segments
    stops = [*starts[1:], starts[0] + count]
    return [
        (_clean(n), Chain(tuple(ring[i % count] for i in range(a, b)), False))
        for n, a, b in zip(names, starts, stops, strict=True)
    ]
