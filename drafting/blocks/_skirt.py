"""What all skirts have in common as blocks: what is measured, where they are sewn on, usual allowances."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from drafting.blocks import Block
from drafting.sheet import Sheet
from drafting.sheet.joints import SEWN_ON
from drafting.style import Option


def skirt(
    draw: Callable[[Sheet], None], title: str, text: str, options: tuple[Option, ...],
    edges: tuple[str, ...], changes: tuple[str, ...] = (),
    sewn_on: Mapping[str, str] | None = None, **allowances: float,
) -> Block:  # fmt: skip
    """A skirt's block, named by its ``draw``; ``edges`` and ``changes`` beside what every skirt has; ``sewn_on``: its
    style at a bodice's waist, where no other is written."""
    return Block(
        name=draw.__name__.replace("_", "-"), title=title, text=text,
        needs=("waist_girth", "hip_girth", "waist_to_hip"), options=options,
        edges=("hem", "side", "waist", "left side", "inner", "right side", *edges), draw=draw,
        changes=("waist", "hip", "length below waist", *changes),
        joins=("waist",), word="skirt", sewn_on={**SEWN_ON, **(sewn_on or {})},
        allowances={"all": 15.0, "waist": 10.0} | {k.replace("_", " "): mm for k, mm in allowances.items()},
    )  # fmt: skip
