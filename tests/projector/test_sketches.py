"""Pictures of what can be chosen: any two choices that draw other pieces look different."""

from __future__ import annotations

from itertools import combinations

import pytest

from drafting import blocks
from projector.commands.blocks import _choice_pieces, sketches_of
from projector.sketch import strokes


def _geometry(block: blocks.Block, key: str, choice: str) -> object:
    """The lines of its pieces to a millimetre: what a picture can show."""
    made = _choice_pieces(block, key, choice)
    return sorted((n, [s.round(0).tolist() for s in strokes(p)]) for n, p in made.items())


@pytest.mark.parametrize("name", blocks.names())
def test_sketches_of_choices_differ(name: str) -> None:
    """Every option of every block: two choices look alike only where their pieces are the same."""
    block = blocks.get(name)
    seen = 0
    for option in (o for o in block.options if o.choices):
        sketches = dict(
            zip(option.choices, sketches_of(block, option.key, option.choices), strict=True)
        )
        for one, other in combinations(option.choices, 2):
            if sketches[one] == sketches[other]:
                same = _geometry(block, option.key, one) == _geometry(block, option.key, other)
                assert same or option.key == "shoulder_seam", (option.key, one, other)
            seen += 1
    assert seen
