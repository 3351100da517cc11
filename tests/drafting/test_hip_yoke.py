"""The hip yoke: as wide at its seam as the darted skirt is there, and any skirt below it fits the hip."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest
from test_set_in_sleeve import BODY, PLUS, person

from configs.errors import DraftError
from drafting import Docket, draft
from drafting.blocks import Draft, joined

STRAIGHT = BODY | {"hip_girth": 102, "waist_to_hip": 20.6}
PEAR = BODY | {"hip_girth": 112, "waist_to_hip": 21}
LARGE = PLUS | {"hip_girth": 140, "waist_to_hip": 22}
SKIRTS = (
    ("gathered-skirt", {}), ("pleated-skirt", {}), ("circle-skirt", {"panels": "2"}), ("circle-skirt", {"circle": "full"}),
    ("gored-skirt", {"gores": "4"}), ("gored-skirt", {"gores": "8"}), ("flared-skirt", {}),
)  # fmt: skip


def bad(d: Draft) -> list[str]:
    """The checks that fail."""
    return [f"{c.name}: {c.text}" for c in d.checks() if not c.ok]


@pytest.mark.parametrize("body", [STRAIGHT, PEAR, LARGE])
@pytest.mark.parametrize("depth", [70, 100, 130])
def test_it_is_the_darted_skirt_with_its_darts_shut(body: Any, depth: int) -> None:
    """At three depths on three bodies its lower edge is as long as the straight skirt is wide there, less
    what its darts still take, within 1 %; waist and side seams are the skirt's."""
    d = draft("hip-yoke", person(body), {"yoke_depth": f"{depth} mm"})
    darted = draft("straight-skirt", person(body), {"shaping": "darts", "slit": "none"})
    assert bad(d) == []
    round_ = 0.0
    for half in ("front", "back"):
        piece = darted.pieces[half]
        side = piece.edges["side"].points
        y = side[-1, 1] - depth
        wide = float(np.interp(y, side[:, 1], side[:, 0]))
        for dart in piece.darts:  # of each, what is left of it so far down
            up = 0.5 * (dart.first[1] + dart.second[1])
            left = max(1.0 - (up - y) / (up - dart.tip[1]), 0.0)
            wide -= left * float(np.hypot(*np.subtract(dart.first, dart.second)))
        round_ += 2.0 * wide
    assert d.figures["yoke seam"] == pytest.approx(round_, rel=0.01)
    sides = [d.pieces[f"{h} yoke"].edges["side"].length_mm for h in ("front", "back")]
    assert sides == pytest.approx([depth, depth], abs=0.1)


@pytest.mark.parametrize(("name", "style"), SKIRTS)
@pytest.mark.parametrize("body", [STRAIGHT, PEAR, LARGE])
def test_any_skirt_on_it(name: str, style: Any, body: Any) -> None:
    """Seven skirts on three bodies sew on to it, half by half, and have the hip where the body has it: as far
    below the yoke as is left of the way."""
    d = joined(draft("hip-yoke", person(body)), name, style)
    assert bad(d) == []
    seams = {s.name: s for s in d.seams}
    assert {"front waist", "back waist"} <= set(seams)
    hips = [c for c in d.checks() if "hip" in c.name]
    assert hips and all(c.ok for c in hips)
    assert "yoke and skirt" in " ".join(d.notes) and "bodice" not in " ".join((*d.notes, *d.making))
    if name == "gored-skirt":
        seam = d.pieces["skirt front gore"].edges["right seam"]
        hip = next(n for n in d.pieces["skirt front gore"].notches if n.match == "hip" and n.edge == "right seam")  # fmt: skip
        down = seam.points[-1, 1] - seam.at(hip.at_mm)[0][1]
        assert down == pytest.approx(10 * body["waist_to_hip"] - 100.0, abs=12.0)


def test_lined_banded_and_interfaced() -> None:
    """Lined, it is cut twice and says so; with a band once; its interfacing is for one layer."""
    d = draft("hip-yoke", person(STRAIGHT), {"interfacing": "waist"})
    assert [(p.cut, p.pair) for n, p in d.pieces.items() if n.endswith("yoke")] == [(2, False), (4, True)]  # fmt: skip
    assert d.pieces["back yoke"].label[1] == "cut 4, in pairs, one inside"
    assert [p.cut for n, p in d.pieces.items() if n.endswith("interfacing")] == [1, 2]
    banded = draft("hip-yoke", person(STRAIGHT), {"waist_finish": "band"})
    assert bad(banded) == [] and banded.pieces["front yoke"].cut == 1
    assert banded.pieces["waistband"].edges["waist"].length_mm == pytest.approx(
        770 + 15 + 30, abs=0.5
    )


def test_what_is_refused_at_twice_and_not_at_half() -> None:
    """Half of three quarters of the way to the hip is deep enough, more than those is refused with what is most."""
    short = person(STRAIGHT, waist_to_hip=16)
    assert bad(draft("hip-yoke", short, {"yoke_depth": "6 cm"})) == []
    with pytest.raises(DraftError, match=r"12\.0 cm at most"):
        draft("hip-yoke", short, {"yoke_depth": "17 cm"})


def test_random_yokes() -> None:
    """Bodies of hip 80 to 150: sound with a skirt on, or refused with a reason."""
    rng, drafted = random.Random(3), 0
    for _ in range(24):
        hip = rng.uniform(80, 150)
        body = {"waist_girth": hip - rng.uniform(8, 34), "hip_girth": hip, "waist_to_hip": rng.uniform(17, 24)}  # fmt: skip
        name, style = rng.choice(SKIRTS)
        try:
            d = joined(draft("hip-yoke", person(body), {"yoke_depth": f"{rng.uniform(60, 130):.0f} mm"}), name, style)  # fmt: skip
        except DraftError as error:
            assert all(f.what and f.remedy for f in error.faults), error
            continue
        assert bad(d) == [], (body, name)
        drafted += 1
    assert drafted >= 15


def test_the_shipped_skirt() -> None:
    """The choir's skirt on a yoke is drafted from its docket, and its length counts from the yoke."""
    from pathlib import Path

    d = Docket.load(Path(__file__).parents[2] / "configs" / "styles" / "pontoon-yoke.yaml").draft()
    assert bad(d) == [] and "counts its length from there" in " ".join(d.notes)
    assert d.making[0].startswith("Sew the yoke") or any("yoke" in x for x in d.making)
