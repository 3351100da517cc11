"""Grips: where a garment is pulled, and that a pull is what the docket says afterwards."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from drafting import Docket, Measurements, blocks
from drafting import grips as grips_module
from drafting.grips import _values, grips, moved_along, moved_pieces, pulled
from drafting.piece import alike
from projector.cli import main

BODY = {
    "unit": "cm", "wearer": "alto-3",
    "measurements": {
        "bust_girth": 94, "waist_girth": 78, "hip_girth_at_tailbone": 104, "neck_width": 14,
        "shoulder_length": 12.3, "back_neck_to_tailbone": 60, "upper_arm_girth": 29,
        "hip_girth": 102, "waist_to_hip": 20.6,
    },
}  # fmt: skip


def docket(block: str = "quick-top", unit: str = "cm", **style: object) -> Docket:
    """A garment on a plain body."""
    return Docket(
        unit=unit,
        measurements=Measurements.from_dict(BODY),
        garment={"block": block, "style": dict(style)},
    )


@pytest.mark.parametrize("block", ["quick-top", "straight-skirt"])
def test_a_pull_moves_its_place_as_far_as_the_hand(block: str) -> None:
    """Every grip pulled by 12 mm along its own way comes to lie within 1.5 mm of the hand."""
    made = docket(block)
    found = grips(made)
    keys = {g.key for g in found}
    assert {
        "style.length",
        "style.hip_ease" if block == "straight-skirt" else "style.bust_ease",
    } <= keys
    tried = 0
    for grip in found:
        by = 12.0 * grip.way / np.hypot(*grip.way)
        value = grip.pulled_to(by)
        if value in (grip.low_mm, grip.high_mm):
            by = -by
            value = grip.pulled_to(by)
        if value in (grip.low_mm, grip.high_mm):
            continue
        (after,) = [
            g for g in moved_along(pulled(made, grip.key, value), found) if g.key == grip.key
        ]
        assert after.at - grip.at == pytest.approx(by, abs=1.5), grip.key
        tried += 1
    assert tried >= 4


def test_seams_that_mate_follow_on_the_other_piece() -> None:
    """The front's hem pulled down by 40 mm makes the back as much longer, and the sides stay equal."""
    made = docket()
    (length,) = [g for g in grips(made) if g.key == "style.length"]
    after = pulled(made, length.key, length.value_mm + 40.0)
    assert set(moved_pieces(made.pieces(), after.pieces())) >= {"front", "back"}
    sides = [after.pieces()[n].edges["side"].length_mm for n in ("front", "back")]
    assert sides[0] == pytest.approx(sides[1], abs=0.5)
    assert all(c.ok for c in after.draft().checks())


def test_a_word_is_pulled_from_the_length_that_it_stands_for() -> None:
    """'top', to the tailbone, has a length: written as that number, the pieces are the same."""
    made = docket(length="top")
    (grip,) = [g for g in grips(made) if g.key == "style.length"]
    drawn = pulled(made, "style.length", grip.value_mm).pieces()
    for name, piece in made.pieces().items():
        a, b = piece.edges["hem"].points, drawn[name].edges["hem"].points
        assert np.abs(a[[0, -1]] - b[[0, -1]]).max() < 0.5
    # the tape goes from the back neck point to the tailbone: 60 cm of this body
    assert grip.value_mm == pytest.approx(600.0, abs=30.0)


@pytest.mark.parametrize(
    ("unit", "mm", "said"), [("cm", 583.0, "58.3 cm"), ("in", 571.5, "22 1/2 in")]
)
def test_what_is_pulled_is_written_in_her_unit(unit: str, mm: float, said: str) -> None:
    """The docket says the length as she would write it."""
    after = pulled(docket(unit=unit), "style.length", mm)
    assert after.garment is not None and after.garment["style"]["length"] == said


def test_a_change_of_fit_is_one_entry() -> None:
    """Pulled again it is the same entry; pulled back to nothing it is gone; others stay."""
    made = docket()
    made = made.replace(
        garment={**made.garment, "fit": [{"change": "bust", "by": "1 cm", "where": "front"}]}
    )  # type: ignore[dict-item]
    once = pulled(made, "fit.bust", 8.0)
    twice = pulled(once, "fit.bust", 12.0)
    assert [f["by"] for f in twice.garment["fit"]] == ["1 cm", "1.2 cm"]  # type: ignore[index]
    back = pulled(twice, "fit.bust", 0.0)
    assert [f["by"] for f in back.garment["fit"]] == ["1 cm"]  # type: ignore[index]


def test_imported_pieces_have_no_grips() -> None:
    """Where there is no block there is nothing to pull."""
    outline = [[0, 0], [100, 0], [100, 100], [0, 100]]
    read = Docket.from_dict({"chalkbeam": 1, "pieces": [{"name": "tab", "outline": outline}]})
    assert grips(read) == []


def test_alike_sees_every_part_of_a_piece() -> None:
    """A piece is alike its twin, and not alike one with another notch, word, or corner by a hair."""
    piece, twin = docket().pieces()["front"], docket().pieces()["front"]
    assert piece is not twin and alike(piece, twin)
    assert not alike(piece, twin.with_(label=("another",)))
    assert not alike(piece, twin.with_(notches=twin.notches[1:]))
    assert not alike(piece, pulled(docket(), "style.front_neck_depth", 90.0).pieces()["front"])


def test_a_fit_change_of_the_base_is_not_pulled_a_second_time(tmp_path: Path) -> None:
    """A base lengthened by 2 cm: the garment's own grip stands at nothing, and 1 cm more adds 1 cm."""
    plain = docket().replace(
        title="top",
        garment={"block": "quick-top", "fit": [{"change": "length below waist", "by": "2 cm"}]},
    )
    plain.save(tmp_path / "top.yaml")
    assert main(["base", str(tmp_path / "top.yaml"), "--out", str(tmp_path / "base.yaml")]) == 0
    drawn = Docket.from_dict(
        {"chalkbeam": 1, "unit": "cm", "garment": {"base": "base.yaml"}},
        path=tmp_path / "own.yaml",
    )
    values = {key: value for key, _, _, value, _, _ in _values(drawn)}
    assert values["fit.length below waist"] == 0.0

    def tall(made: Docket) -> float:
        return float(np.ptp(made.pieces()["front"].sewing_line[:, 1]))

    after = pulled(drawn, "fit.length below waist", 10.0)
    assert tall(after) == pytest.approx(tall(drawn) + 10.0, abs=0.5)


def sleeved(**sleeve: object) -> Docket:
    """The top with a set-in sleeve."""
    joined = {"block": "set-in-sleeve", **sleeve}
    return docket().replace(garment={"block": "quick-top", "with": [joined]})


def test_a_sleeve_that_is_sewn_on_has_grips_of_its_own() -> None:
    """Its lengths and changes of fit have their places on it, the top's on the top; the name says
    whose; a pull is written into the sleeve's entry and nowhere else, and the cap still fits."""
    made = sleeved()
    found = {g.key: g for g in grips(made)}
    own = [g for k, g in found.items() if k.startswith("with[0].")]
    assert {g.piece for g in own} == {"sleeve"} and all("set in sleeve" in g.name for g in own)
    assert {g.piece for k, g in found.items() if not k.startswith("with")} == {"front", "back"}
    assert {"style.length", "style.front_neck_depth", "with[0].fit.upper arm"} <= found.keys()

    def wide(of: Docket) -> float:
        return float(np.ptp(of.pieces()["sleeve"].sewing_line[:, 0]))

    after = pulled(made, "with[0].fit.upper arm", 20.0)
    garment = after.garment or {}
    assert garment["with"][0]["fit"] == [
        {"change": "upper arm", "by": "2.0 cm", "note": "pulled on the cloth"}
    ]
    assert "fit" not in garment and garment["block"] == "quick-top"
    assert wide(after) > wide(made) + 10.0
    assert all(c.ok for c in after.draft().checks())
    again = pulled(after, "with[0].fit.upper arm", 0.0)
    assert (again.garment or {})["with"][0]["fit"] == []
    eased = pulled(made, "with[0].style.cap_ease", 15.0)
    assert (eased.garment or {})["with"][0]["style"] == {"cap_ease": "1.5 cm"}


def test_a_bases_sleeve_is_pulled_in_the_base(tmp_path: Path) -> None:
    """A garment from a base with a sleeve offers no grip of that sleeve: its entry is not here."""
    sleeved().replace(title="top").save(tmp_path / "top.yaml")
    assert main(["base", str(tmp_path / "top.yaml"), "--out", str(tmp_path / "base.yaml")]) == 0
    drawn = Docket.from_dict(
        {"chalkbeam": 1, "unit": "cm", "garment": {"base": "base.yaml"}},
        path=tmp_path / "own.yaml",
    )
    assert "sleeve" in drawn.pieces()
    found = grips(drawn)
    assert found and not [g.key for g in found if g.key.startswith("with") or g.piece == "sleeve"]


def test_grips_are_found_without_what_is_sewn_on_later(monkeypatch: pytest.MonkeyPatch) -> None:
    """Trying a top's lengths, its sleeve is drafted once and not with each; the grips are the same."""
    made = sleeved().replace(allowances={"all": 10.0, "sleeve hem": 25.0})
    drafted = []
    real = blocks.joined
    monkeypatch.setattr(blocks, "joined", lambda *a, **k: drafted.append(a[1:2]) or real(*a, **k))
    sparing = grips(made)
    few = len(drafted)
    monkeypatch.setattr(grips_module, "_up_to", lambda whole, _, own: (whole, own))
    thorough = grips(made.replace(title="again"))
    assert [(g.key, g.piece, g.edge, g.value_mm) for g in sparing] == [
        (g.key, g.piece, g.edge, g.value_mm) for g in thorough
    ]
    assert all(np.allclose(a.way, b.way, atol=1e-6) for a, b in zip(sparing, thorough, strict=True))
    assert few < 0.7 * (len(drafted) - few)
