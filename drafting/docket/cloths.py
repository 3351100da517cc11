"""Several cloths of one garment: what is cut from which, and the docket of each beside the garment's.

A garment's docket names further cloths (lining, interfacing, contrast) and what each takes. The lay of
such a cloth is in a small docket of its own beside it, ``top.lining.yaml``, which names the garment's
and takes pieces, allowances and measurements from there: so each cloth has its own lay, table and
picture, and nothing is written twice.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from configs.errors import Fault, InputError
from configs.files import named_file, read_yaml
from configs.reader import Reader, nearest
from drafting.cloth import Cloth
from drafting.docket.named import place_of
from drafting.folding import read_folding
from drafting.lay.folds import as_asked

if TYPE_CHECKING:
    from drafting.docket.model import Docket

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,39}")
EXAMPLE = "Example: lining: {width: 1400 mm, takes: [facing]}"


@dataclass(frozen=True)
class OtherCloth:
    """A further cloth: ``takes``: pieces, or words of their names ("facing"), that are cut from it;
    ``also``: they are cut from the garment's own cloth too (interfacing)."""

    cloth: Cloth
    takes: tuple[str, ...]
    also: bool = False

    def cuts(self, piece: str) -> bool:
        """Whether a piece is cut from this cloth."""
        return any(matches(word, piece) for word in self.takes)


@dataclass(frozen=True)
class Of:
    """Whose cloth a small docket is for: the garment's docket, and which of its cloths."""

    docket: str
    cloth: str


def matches(word: str, piece: str) -> bool:
    """Whether a piece is meant by a word: its name, or a word of it, singular or plural."""
    word, name = word.strip().lower(), piece.lower()
    single = word[:-1] if word.endswith("s") else word
    return word == name or bool({word, single} & set(re.split(r"[\s-]+", name)))


def read_cloths(top: Reader) -> dict[str, OtherCloth]:
    """The further cloths of a docket, by name."""
    if not top.has("cloths"):
        return {}
    rows = top.sub("cloths")
    found = {}
    for name, value in rows.data.items():
        name = str(name)
        if not _NAME.fullmatch(name):
            rows.note(name, "is no name for a cloth.", "Letters, digits, '-' and '_': lining")
            continue
        if not isinstance(value, Mapping):
            rows.note(name, "should be a cloth and what it takes.", EXAMPLE, value)
            continue
        one = rows.inner(name, value)
        takes = one.texts("takes", "should be a list of pieces.", EXAMPLE)
        if not takes:
            one.note("takes", "is missing: which pieces are cut from it?", EXAMPLE)
        also = one.flag("also")
        rest = {"unit": top.unit, **{k: v for k, v in value.items() if k not in ("takes", "also")}}
        where = rows.place(name)
        cloth = top.tried(partial(Cloth.from_dict, rest, where=where), None)
        if cloth is not None:
            found[name] = OtherCloth(cloth, takes, also)
    return found


def read_of(
    top: Reader, path: Path | None, load: Callable[[Path], Docket]
) -> tuple[Of, Docket] | None:
    """The garment's docket that a small one names, read by ``load``; None where it names none."""
    if not top.has("of"):
        return None
    own = top.sub("of", ("docket", "cloth"))
    of = Of(own.text("docket", need=True), own.text("cloth", need=True))
    if not of.docket or not of.cloth:
        return None
    folder, where = place_of(path)

    def read() -> Docket:
        file = named_file(folder, of.docket, "of", where, "name the garment's docket")
        if "of" in read_yaml(file):  # a ring of files would be read for ever
            raise InputError.of(f"{where}: of.docket", f"{of.docket} is itself for a cloth of another docket.",
                      "Name the garment's.")  # fmt: skip
        garment = load(file)
        need_cloth(garment, of.cloth, f"{where}: of.cloth")
        return garment

    garment: Docket | None = top.tried(read, None)
    return None if garment is None else (of, garment)


def need_cloth(garment: Docket, name: str, where: str) -> None:
    """See that a garment has a cloth of that name.

    Raises:
        InputError: it has not; ``where``: what asks for it.
    """
    if name not in garment.cloths:
        known = ", ".join(garment.cloths) or "none"
        what = f"{garment.path or 'the docket'} has no cloth '{name}'; it has {known}."
        remedy = nearest(name, garment.cloths) or f"Add it under 'cloths'. {EXAMPLE}"
        raise InputError.of(where, what, remedy)


def cloth_for(of: Of, garment: Docket, top: Reader) -> Cloth:
    """The cloth of a small docket: as the garment's says, folded as this one's lay has found.

    What was found counts as long as the garment's docket leaves it open.
    """
    cloth = garment.cloths[of.cloth].cloth
    if not top.has("cloth"):
        return cloth
    own = top.sub("cloth", ("fold", "opened", "pieced"))
    found = cloth.folded_as(read_folding(own)) if own.has("fold") else cloth
    if own.has("opened"):
        found = replace(found, opened=own.texts("opened", "should be a list of pieces.", ""))
    if own.has("pieced"):
        inner = own.sub("pieced")
        found = replace(found, pieced={str(k): inner.count(str(k)) for k in inner.data})
    return found if as_asked(found) == as_asked(cloth) else cloth


def cut_here(piece: str, cloths: Mapping[str, OtherCloth], of: Of | None) -> bool:
    """Whether a docket's own cloth is what a piece is cut from."""
    if of is not None:
        return cloths[of.cloth].cuts(piece)
    return not any(c.cuts(piece) and not c.also for c in cloths.values())


def untaken(cloths: Mapping[str, OtherCloth], pieces: Iterable[str], where: str) -> list[Fault]:
    """Words under ``takes`` that no piece has, each with the nearest one."""
    names = list(pieces)
    known = {*names, *(w for n in names for w in re.split(r"[\s-]+", n))}
    return [
        Fault(
            f"{where}cloths.{name}.takes", f"no piece is meant by '{word}'.", nearest(word, known)
        )
        for name, one in cloths.items()
        for word in one.takes
        if not any(matches(word, n) for n in names)
    ]
