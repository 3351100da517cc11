"""How each piece is cut from this cloth: as what outline, in which turns, which side up, how often.

Before the planners and the judge, which both go by it. Folded cloth turns a pair into one outline
cut through both layers and a cut-on-fold piece into a half with its fold edge on the fold; single
cloth turns the pair into a piece and its mirror image and opens the cut-on-fold piece out. A piece
is drawn as the cloth's right side shows it, so what is cut from a layer that lies face down lies
turned over.
"""

from __future__ import annotations

import contextlib
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from configs.errors import Fault, LayError
from configs.reader import nearest
from configs.units import asked_back, length_text, parse_length
from drafting.cloth import Cloth, MatchPoint
from drafting.folding import Zone
from drafting.lay.laid import LaidPiece
from drafting.lay.rules import Rules
from drafting.lay.shapes import cleaned, counter_clockwise, same_turned_over
from drafting.outline import Points, crossing_of
from drafting.piece import Piece
from drafting.placement import Placement, carry, cloth_from_piece, grain_turn

_LEAST_BARE_MM = 20.0  # up an edge; a bare number below it was hardly meant in mm
FOLD_TOLERANCE_MM = 0.05
_NAP_TURNS = {"one-way": (0.0,), "two-way": (0.0, 180.0)}
SINGLE, THROUGH, FOLD = "single", "through", "fold"


@dataclass(frozen=True)
class Cut:
    """Copies of a piece that are cut alike.

    ``how``: "single" (one layer), "through" (both at once) or "fold" (half the piece, on the fold);
    ``copies``: their numbers; ``sides``: which of mirrored False and True they may lie.
    """

    how: str
    copies: tuple[int, ...]
    sides: tuple[bool, ...]

    @property
    def layers(self) -> int:
        """Layers of cloth cut through."""
        return 1 if self.how == SINGLE else 2


@dataclass(frozen=True, eq=False)
class Spec:
    """One piece on one cloth.

    ``ring``: (N, 2) cutting line at the draft's size, piece mm, counter-clockwise: the half on a
    fold, else the whole; ``grain_turn``: degrees that point its grain up; ``turns``: degrees off
    that which cloth and piece allow, ``tilt`` more each way; ``alike``: turned over it is the same;
    ``pair``: left and right are wanted; ``tolerant``: may cover a flaw; ``group``, ``match``: its
    stripe group (−1: none) and match point, (2,) piece mm; ``border``: the edge, (N, 2) piece mm, that
    lies on the cloth's border.
    """

    name: str
    ring: Points
    grain_turn: float
    turns: tuple[float, ...]
    tilt: float
    cuts: tuple[Cut, ...]
    alike: bool
    pair: bool
    tolerant: bool
    group: int = -1
    match: Points | None = None
    border: Points | None = None

    @property
    def on_fold(self) -> bool:
        """Whether it is cut as a half on the cloth's fold."""
        return any(c.how == FOLD for c in self.cuts)

    def cut_of(self, copy: int) -> Cut | None:
        """How a copy is cut; None when there are not so many."""
        return next((c for c in self.cuts if copy in c.copies), None)

    def how(self, copy: int) -> str:
        """The same by its word; one copy more than wanted is cut from one layer."""
        cut = self.cut_of(copy)
        return cut.how if cut is not None else FOLD if self.on_fold else SINGLE

    def tilt_of(self, turn_deg: float, mirrored: bool) -> float:
        """Degrees from the nearest turn that is allowed, −180 to 180, by the docket's turn."""
        base = -self.grain_turn if mirrored else self.grain_turn
        turns = self.turns or (0.0,)
        return min(((turn_deg - t - base + 180.0) % 360.0 - 180.0 for t in turns), key=abs)


@dataclass(frozen=True)
class Specs:
    """All pieces on one cloth: by name, what cannot be cut, what the person should know."""

    of: Mapping[str, Spec]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]


def laid_piece(spec: Spec, cloth: Cloth, where: Placement) -> LaidPiece:
    """A copy exactly where it is put, whatever its turn, as large as it is cut there."""
    at = (float(where.at[0]), float(where.at[1]))
    turn, mirrored = where.turn_deg, where.mirrored
    matrix = cloth_from_piece(at, turn, mirrored)
    matrix[:2, :2] = matrix[:2, :2] @ cloth.growth(turn, mirrored)
    ring = carry(matrix, spec.ring)
    if mirrored:
        ring = ring[::-1].copy()
    how = spec.how(where.copy)
    if how == FOLD:
        on_folds(ring, cloth)
    lower = where.lower and how == SINGLE
    upper = how == SINGLE and not lower and cloth.folded and _in_two_layers(ring, cloth)
    return LaidPiece(
        spec.name, where.copy, at, turn, mirrored, where.locked, how, matrix, ring, lower, upper
    )


def _in_two_layers(ring: Points, cloth: Cloth) -> bool:
    """Whether no part of the cloth that lies single is anywhere near a copy."""
    low, high = ring.min(axis=0), ring.max(axis=0)
    return not any(
        z.layers == 1 and (low < (z.x[1], z.y[1])).all() and (high > (z.x[0], z.y[0])).all()
        for z in cloth.zones
    )


def zones_for(
    spec: Spec, cloth: Cloth, how: str, mirrored: bool, lower: bool = False
) -> tuple[Zone, ...]:
    """Where on the cloth a copy that lies so is cut right: the one rule of the cloth's faces.

    What is cut through both layers needs two of them. What is cut from one layer lies as the piece is
    drawn where that layer shows its right side, and turned over where it shows its wrong side; below a
    layer that shows the one, the ``lower`` one shows the other. A piece that is the same turned over
    goes where the cloth lies single, if it does anywhere, or into the lower layer.
    """
    zones = cloth.zones
    if how != SINGLE:
        return tuple(z for z in zones if z.layers == 2)
    if lower:
        double = tuple(z for z in zones if z.layers == 2)
        return tuple(z for z in double if spec.alike or z.wrong_side != mirrored)
    if spec.pair and not spec.alike:
        return zones  # which is left and which is right is told by comparing them
    if spec.alike:
        return tuple(z for z in zones if z.layers == 1) or zones
    return tuple(z for z in zones if z.wrong_side == mirrored)


def on_folds(ring: Points, cloth: Cloth) -> None:
    """What of a ring lies next to a fold is put on it, in place."""
    for y in cloth.folds_mm:
        ring[np.abs(ring[:, 1] - y) < FOLD_TOLERANCE_MM, 1] = y


def named(pieces: Mapping[str, Piece] | Iterable[Piece]) -> dict[str, Piece]:
    """Pieces by name.

    Raises:
        LayError: two of them bear one name.
    """
    if isinstance(pieces, Mapping):
        return {str(k): v for k, v in pieces.items()}
    given = list(pieces)
    out = {p.name: p for p in given}
    if len(out) < len(given):
        twice = sorted(n for n, many in Counter(p.name for p in given).items() if many > 1)
        what, how = "two pieces bear this name.", "Hand them over as {name: piece}."
        raise LayError([Fault(name, what, how) for name in twice])
    return out


def specs_of(pieces: Mapping[str, Piece], cloth: Cloth, rules: Rules) -> Specs:
    """How every piece is cut; what cannot be cut so is told, with no turn left or left out."""
    return _Reader(cloth, rules).specs(pieces)


class _Reader:
    def __init__(self, cloth: Cloth, rules: Rules) -> None:
        self.cloth = cloth
        self.rules = rules
        self.faults: list[Fault] = []
        self.notes: list[str] = []

    def fault(self, where: str, what: str, remedy: str = "") -> None:
        self.faults.append(Fault(where, what, remedy))

    def specs(self, pieces: Mapping[str, Piece]) -> Specs:
        points = self.match_points(pieces)
        made = (
            self.spec(name, piece, *points.get(name, (-1, None))) for name, piece in pieces.items()
        )
        return Specs({s.name: s for s in made if s}, tuple(self.faults), tuple(self.notes))

    def spec(self, name: str, piece: Piece, group: int, match: Points | None) -> Spec | None:
        on_fold = piece.fold is not None and self.cloth.lays_on_fold(name)
        ring = self.outline(name, piece, on_fold)
        border = self.border_edge(name, piece)
        turns = (
            self.allowed_turns(name, piece, matched=match is not None)
            if border is None
            else self.turned_to_border(piece, border)
        )
        if ring is None:
            return None
        alike = not on_fold and same_turned_over(ring, piece.grain)
        free = not on_fold and match is None and border is None
        return Spec(
            name,
            ring,
            grain_turn(piece.grain),
            turns,
            self.cloth.tilt_deg(name) if free else 0.0,
            self.cuts(name, piece, on_fold, alike),
            alike,
            piece.pair,
            name in self.cloth.tolerates_flaws,
            group,
            match,
            border,
        )

    def cuts(self, name: str, piece: Piece, on_fold: bool, alike: bool) -> tuple[Cut, ...]:
        copies = int(piece.cut) * self.rules.times(name)
        if piece.pair and copies % 2:
            copies += 1
        every = tuple(range(1, copies + 1))
        both = (False, True)
        if on_fold:
            return (Cut(FOLD, every, both),)
        if not self.cloth.folded:
            if piece.pair:
                return Cut(SINGLE, every[::2], (False,)), Cut(SINGLE, every[1::2], (True,))
            return (Cut(SINGLE, every, (False,)),)
        twins = copies // 2 if piece.pair or alike else 0
        made = [Cut(THROUGH, every[:twins], both)] if twins else []
        left = copies - 2 * twins
        if left:
            double = [z.layers == 2 for z in self.cloth.zones]
            # where there are two, the lower layer shows the other side
            shown = both if any(double) else tuple(sorted({z.wrong_side for z in self.cloth.zones}))
            made.append(Cut(SINGLE, every[twins : twins + left], (False,) if alike else shown))
            if all(double):
                many = f"{left} times" if left > 1 else "once"
                said = (
                    f"{name} is cut {many} from one layer only: leave the other layer whole there."
                )
                self.notes.append(said)
        return tuple(made)

    def outline(self, name: str, piece: Piece, on_fold: bool) -> Points | None:
        """The piece's cutting line in its own frame, mm, opened out but on a fold; None with a fault."""
        allowances = self.rules.allowances_for(name)
        try:
            ring = piece.cutting_line(allowances) if on_fold else piece.unfolded(allowances)
        except ValueError as error:
            self.fault(name, str(error))
            return None
        ring = cleaned(ring, 1e-6)
        spot = crossing_of(ring)
        if spot is not None:
            near = f"near ({spot[0]:.0f}, {spot[1]:.0f}) mm"
            self.fault(name, f"its outline crosses itself {near}.", "Redraw the outline there.")
            return None
        return counter_clockwise(ring)

    def allowed_turns(self, name: str, piece: Piece, *, matched: bool) -> tuple[float, ...]:
        nap, turns = self.cloth.nap, [float(t) % 360.0 for t in piece.turns]
        if nap in _NAP_TURNS:
            turns = [t for t in turns if t in _NAP_TURNS[nap]]
        if not turns:
            listed = ", ".join(f"{float(t):g}°" for t in piece.turns)
            self.fault(
                name,
                f"may only be turned {listed}, which {nap} cloth does not allow.",
                "Allow the turn 0 on the piece, or check the cloth's nap.",
            )
        elif matched:  # stripes: no change of direction (FACTS E, Industrial Cutting §14.2.1)
            turns = [t for t in turns if t == 0.0]
            if not turns:
                self.fault(name, "no turn is left that the stripes allow.", "Allow the turn 0.")
        return tuple(dict.fromkeys(turns))

    # -- border prints

    def border_edge(self, name: str, piece: Piece) -> Points | None:
        """The edge of a piece that lies on the border; None of one that does not."""
        border = self.cloth.border
        if border is None or name not in border.edges:
            return None
        edge = border.edges[name]
        if edge in piece.edges:
            return piece.edges[edge].points
        self.fault("cloth.border", f"{name} has no edge '{edge}'; it has {', '.join(piece.edges)}.")
        return None

    def turned_to_border(self, piece: Piece, edge: Points) -> tuple[float, ...]:
        """The one turn across the cloth that brings the edge towards the border's selvedge."""
        side = self.cloth.border_mm()
        sewing = piece.sewing_line
        off = grain_turn(piece.grain)
        for turn in (90.0, 270.0):
            matrix = cloth_from_piece((0.0, 0.0), turn + off, False)
            into = carry(matrix, sewing)[:, 1].mean() - carry(matrix, edge)[:, 1].mean()
            if side is not None and into * side[1] > 0.0:
                return (turn,)
        return (90.0,)

    # -- stripes

    def match_points(self, pieces: Mapping[str, Piece]) -> dict[str, tuple[int, Points]]:
        """Piece → (group, its match point in its own frame)."""
        out: dict[str, tuple[int, Points]] = {}
        if not (self.cloth.repeat_length_mm or self.cloth.repeat_width_mm):
            return out
        for g, group in enumerate(self.cloth.match):
            for point in group:
                at = self.locate(point, pieces)
                if at is None:
                    continue
                if point.piece in out:
                    self.fault(
                        f"cloth.match[{g}]",
                        f"{point.piece} is to meet the stripes at two places.",
                        "One place a piece: its seam meets all along once it meets at one point.",
                    )
                    continue
                out[point.piece] = (g, at)
        return out

    def locate(self, point: MatchPoint, pieces: Mapping[str, Piece]) -> Points | None:
        # several garments in one lay bear their wearer's name before the piece's
        name, piece = point.piece, pieces.get(point.piece)
        if piece is None:
            said = f"there is no piece '{name}'; there are {', '.join(sorted(pieces))}."
            self.fault("cloth.match", said)
            return None
        if point.at is not None:
            return np.array(point.at, dtype=float)
        if point.edge not in piece.edges:
            said = f"{name} has no edge '{point.edge}'; it has {', '.join(piece.edges)}."
            self.fault("cloth.match", said)
            return None
        line = piece.edges[point.edge].points
        return (
            self.spot(point, piece, line) if point.spot else np.asarray(line[np.argmin(line[:, 1])])
        )

    def spot(self, point: MatchPoint, piece: Piece, line: Points) -> Points | None:
        """A named place of an edge: a notch, its upper end, or so far from its lower end."""
        if point.spot == "top":
            return np.asarray(line[np.argmax(line[:, 1])])
        edge = piece.edges[point.edge]
        named_here = {n.match or n.edge: n.at_mm for n in piece.notches if n.edge == point.edge}
        at, asked = named_here.get(point.spot), None
        if at is None and point.spot[:1].isdigit():
            with contextlib.suppress(ValueError):
                along = float(parse_length(point.spot, "mm"))
                asked = asked_back(point.spot, along, _LEAST_BARE_MM, edge.length_mm)
                if along <= edge.length_mm:
                    at = along if line[0, 1] <= line[-1, 1] else edge.length_mm - along
        where = f"{point.piece}.{point.edge}"
        if asked is not None:
            self.fault("cloth.match", f"{where}@{point.spot}: {asked[0]}", asked[1])
            return None
        if at is None:
            known = (*named_here, "top")
            self.fault(
                "cloth.match",
                f"{where} has no place '{point.spot}'; it has {', '.join(known)}, "
                f"and any length up to {length_text(edge.length_mm)}.",
                nearest(point.spot, known),
            )
            return None
        return np.asarray(edge.at(at)[0])
