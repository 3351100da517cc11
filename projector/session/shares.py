"""One cloth, several garments: what must be kept clear of when one of them is laid.

A docket's ``shares`` names the files of those that lie on the same cloth. `lay`, the plan asked
for at the table and the first plan of `frame` and `project` all join them here, so that each
keeps off the same pieces.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from drafting import Docket
    from drafting.cloth import Cloth
    from drafting.lay import Rules
    from drafting.piece import Piece
    from drafting.placement import Placement


@dataclass(frozen=True)
class Together:
    """All pieces on one cloth, each piece's name with its docket's prefix before it.

    ``cloth``: that of the first docket, or of the first that shares it; None when none names one;
    ``prefixes``: of the dockets that are laid now, in their order, "" for a lone one; ``pieces``:
    prefixed name → piece; ``still``: placements of the garments that are not laid now, locked;
    ``others``: their dockets; ``unlaid``: files that share the cloth and were never laid, so that
    nothing is known to keep clear of; ``allowances``, ``quantity``: prefixed name → as `plan` takes them;
    ``said``: what to tell her of it, sentences.
    """

    cloth: Cloth | None
    prefixes: tuple[str, ...]
    pieces: dict[str, Piece]
    still: tuple[Placement, ...]
    others: tuple[Docket, ...]
    allowances: dict[str, dict[str, float]]
    quantity: dict[str, int]
    said: tuple[str, ...]
    unlaid: tuple[Path, ...] = ()

    @property
    def at_the_table(self) -> str:
        """What is kept clear of, short enough for the strip; "" when nothing shares the cloth."""
        kept = [d.path.name for d in self.others if d.path]
        text = f"Kept clear of: {', '.join(kept)}, on the same cloth. " if kept else ""
        if self.unlaid:
            text += f"No room is kept for {', '.join(p.name for p in self.unlaid)}: not laid yet."
        return text.strip()

    def own(self, name: str) -> bool:
        """Whether a piece, or a copy (``front/1``), is of a docket that is laid now."""
        theirs = {p.piece for p in self.still}
        return name not in theirs and name.rsplit("/", 1)[0] not in theirs


def together(dockets: Sequence[Docket]) -> Together:
    """What lies on the cloth of the dockets that are laid now, theirs and what shares it.

    Raises:
        InputError: a docket that shares the cloth is not there, cannot be read or
            describes another cloth.
    """
    others, unlaid, said = _sharing(dockets)
    prefixes = _prefixes(dockets, others)
    own: dict[str, tuple[Docket, str]] = {}
    still: list[Placement] = []
    for i, (prefix, one) in enumerate(zip(prefixes, (*dockets, *others), strict=True)):
        names = set(one.pieces())
        if i >= len(dockets):  # not to be laid now: what lies on the cloth alone counts
            names &= {p.piece for p in one.placed()}
            lying = (dataclasses.replace(p, piece=prefix + p.piece) for p in one.placed())
            still += [dataclasses.replace(p, locked=True) for p in lying]
        own |= {prefix + name: (one, name) for name in one.pieces() if name in names}
    cloths = [d.cloth for d in (dockets[0], *others) if d.cloth is not None]
    return Together(
        cloths[0] if cloths else None,
        tuple(prefixes[: len(dockets)]),
        {key: one.pieces()[name] for key, (one, name) in own.items()},
        tuple(still),
        tuple(others),
        {key: one.allowances_for(name) for key, (one, name) in own.items()},
        {key: one.quantity for key, (one, _) in own.items()},
        tuple(said),
        tuple(unlaid),
    )


def as_noted(paths: Sequence[Path]) -> tuple[list[Docket], list[str]]:
    """Dockets as the table left them, with what its journals still hold; and what to say of it.

    Raises:
        ChalkbeamError: one cannot be read or has faults.
    """
    from projector.session.journal import with_noted

    dockets, said = [], []
    for path in paths:
        found = with_noted(path)
        dockets.append(found.docket)
        if found.changes:
            plural = "s" if found.changes != 1 else ""
            said.append(f"{path}: with {found.changes} change{plural} that the table had noted.")
        elif found.note:
            said.append(f"{path}: {found.note}")
    return dockets, said


def _sharing(dockets: Sequence[Docket]) -> tuple[list[Docket], list[Path], list[str]]:
    """Dockets that share the cloth and are not laid now: their pieces keep their place.

    And the files of those that were never laid, and what to say of all.
    """
    from configs.errors import InputError
    from configs.files import named_file

    here = {d.path.resolve() for d in dockets if d.path}
    found: dict[Path, Path] = {}
    for one in dockets:
        for name in one.shares if one.path else ():
            made = "take it out of 'shares'"
            path = named_file(one.path.parent, name, "shares", str(one.path), made)  # type: ignore[union-attr]
            if path.resolve() not in here:
                found.setdefault(path.resolve(), path)
    others, said = as_noted(list(found.values()))
    kept: list[Docket] = []
    unlaid: list[Path] = []
    first = dockets[0]
    for path, other in zip(found.values(), others, strict=True):
        if not other.placed():
            unlaid.append(path)
            said.append(
                f"{other.path} shares this cloth and has no lay yet: no room is kept for it. Lay "
                f"both: chalkbeam lay {first.path} --with {other.path}"
            )
            continue
        if first.cloth and other.cloth and first.cloth != other.cloth:
            raise InputError.of(
                f"{first.path}: shares",
                f"{other.path} shares this cloth, but its 'cloth' says something else.",
                "Make the two alike, or take it out of 'shares' when it lies on another cloth.",
            )
        said.append(
            f"{other.path} shares this cloth: its pieces keep their place. (Take it out of "
            f"'shares' in {first.path} when it does not.)"
        )
        kept.append(other)
    for one in dockets[1:]:
        if one.cloth is not None and first.cloth is not None and one.cloth != first.cloth:
            said.append(f"{one.path} describes another cloth: laid on that of {first.path}.")
    return kept, unlaid, said


def _prefixes(dockets: Sequence[Docket], others: Sequence[Docket]) -> list[str]:
    """What is put before piece names: nothing for one docket, else its title, made unique."""
    out: list[str] = []
    for i, one in enumerate((*dockets, *others)):
        if i == 0 and len(dockets) == 1:
            out.append("")
            continue
        name = one.title
        if f"{name}: " in out or (out[:1] == [""] and name == dockets[0].title):
            name = f"{name} ({one.path.stem if one.path else i + 1})"
        out.append(f"{name} {i + 1}: " if f"{name}: " in out else f"{name}: ")
    return out


def rules_of(joined: Together, distance_mm: float) -> Rules:
    """The rules that all garments on one cloth are laid by, for planner and judge."""
    from drafting.lay import Rules

    return Rules(distance_mm, joined.allowances, joined.quantity)
