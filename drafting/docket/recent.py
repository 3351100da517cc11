"""What was drafted last, kept: a change of one part of a garment leaves what was there before it as it is.

A draft is frozen and follows from its recipe alone, so the same recipe need not be drafted twice. Pulled
on the cloth, a skirt is drafted again and the bodice above it is not.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import Any, TypeVar

T = TypeVar("T")

_KEPT = 24  # drafts, some hundred kB each
_recent: OrderedDict[tuple[Any, ...], tuple[tuple[object, ...], Any]] = OrderedDict()


def recalled(make: Callable[[], T], of: tuple[object, ...], *words: object) -> T:
    """What ``make`` answers, or what it answered last for the very same objects and words.

    ``of``: what it is made from, compared by identity; ``words``: the rest of the recipe, by how they
    are written (``repr``), so that 1 and True are two. What is refused is not kept.
    """
    key = (*map(id, of), *map(repr, words))
    known = _recent.get(key)
    if known is None:
        known = _recent[key] = (of, make())  # the objects are held, so that no other gets their id
        while len(_recent) > _KEPT:
            _recent.popitem(last=False)
    else:
        _recent.move_to_end(key)
    made: T = known[1]
    return made
