"""Judged: what is wrong with the lay as it lies, kept up to date piece by piece."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from drafting.placement import Placement
    from projector.session.rules import Rules

OVERLAPS = "overlaps"


@dataclass(frozen=True)
class Judged:
    """Troubles of a lay.

    ``own``: copy → what is wrong with it by itself; ``pairs``: two copies → what is wrong between
    them, in a word (they overlap, lie too near, miss the stripes); ``beside``: copy → those words.
    """

    own: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    pairs: Mapping[tuple[str, str], str] = field(default_factory=dict)
    beside: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def of(self, key: str) -> tuple[str, ...]:
        """What is wrong with one copy, in words."""
        return (*self.own.get(key, ()), *self.beside.get(key, ()))

    @property
    def count(self) -> int:
        """How many things are wrong."""
        return sum(len(t) for t in self.own.values()) + len(self.pairs)


def judged(rules: Rules, lay: Sequence[Placement]) -> Judged:
    """A whole lay."""
    own = {p.key: rules.own_troubles(p, lay) for p in lay if not p.aside}
    return _made(own, rules.pair_troubles(lay))


def judged_again(
    before: Judged, rules: Rules, lay: Sequence[Placement], key: str, *, in_hand: bool
) -> Judged:
    """After one copy has moved: only what it can have changed; ``in_hand``: it is moving still."""
    p = next((p for p in lay if p.key == key), None)
    pairs = {pair: said for pair, said in before.pairs.items() if key not in pair}
    own = {k: v for k, v in before.own.items() if k != key}
    if p is not None and not p.aside:
        own[key] = rules.own_troubles(p, lay)
        pairs |= rules.troubles_with(p, lay)
    if not in_hand and p is not None:  # one of a pair turned over: the other's case too
        for q in lay:
            if q.piece == p.piece and q.key != key and not q.aside:
                own[q.key] = rules.own_troubles(q, lay)
    return _made(own, pairs)


def _made(own: Mapping[str, tuple[str, ...]], pairs: Mapping[tuple[str, str], str]) -> Judged:
    beside: dict[str, dict[str, None]] = {}
    for pair, said in pairs.items():
        for key in pair:
            beside.setdefault(key, {})[said] = None
    return Judged(own, pairs, {key: tuple(said) for key, said in beside.items()})
