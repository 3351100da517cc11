"""What an edge hangs on is told honestly, and a slip of the tape moves what it must."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from top_bodies import centimetres, inches

from configs.errors import DraftError, InputError
from drafting import Measurements, draft
from drafting.blocks import Draft, get
from drafting.measurements import REGISTRY
from drafting.slips import edges_named, slip, slips, slips_svg, used_measures, why
from drafting.style import Option
from drafting.truing import compare
from projector.cli import main

CONFIGS = Path(__file__).parents[2] / "configs"
SKIRT = {"unit": "cm", "waist_girth": 72, "hip_girth": 96.5, "waist_to_hip": 20.6}
STYLES: list[tuple[str, dict[str, Any]]] = [
    ("quick-top", {}),
    ("quick-top", {"neckline": "v", "sleeve": "short", "waist": "shaped", "hem": "shirt-tail"}),
    ("quick-top", {"gathers": "front", "neckline_finish": "facing", "armhole_finish": "facing",
                   "length": "tunic", "sleeve": "cap"}),
    ("quick-top", {"neckline": "square", "neckline_finish": "bias", "armhole_finish": "bias",
                   "shoulder_seam": "measured", "centre_back": "seam", "pocket": "hip"}),
    ("straight-skirt", {"flare": "6 cm"}),
    ("straight-skirt", {"waist_finish": "facing", "centre_back": "fold", "slit": "none"}),
    ("flared-skirt", {"waist_finish": "facing", "flare": "6 cm"}),
    ("gored-skirt", {"flare_from": "knee", "length": "calf"}),
    ("circle-skirt", {"circle": "full"}),
    ("gathered-skirt", {"tiers": "2", "length": "calf"}),
    ("pleated-skirt", {"pleats": "box"}),
]  # fmt: skip


def in_mm(style: dict[str, Any], options: Sequence[Option]) -> dict[str, Any]:
    """A resolved style as one would write it: its lengths with their unit."""
    kinds = {o.key: o.kind for o in options}
    return {
        k: f"{v} mm" if isinstance(v, float) and kinds[k] != "number" else v
        for k, v in style.items()
    }


def made_of(block: str, style: dict[str, Any], **more: str) -> Draft:
    """A draft of one of the styles."""
    body = Measurements.from_dict(SKIRT) if block.endswith("skirt") else centimetres()
    if block == "quick-top":
        body = Measurements.from_dict(
            {"unit": "cm", "measurements": {k: v / 10 for k, v in body.values.items()}}
            | {
                "measurements": {
                    **{k: v / 10 for k, v in body.values.items()},
                    "upper_arm_girth": 30,
                }
            }
        )
    return draft(block, body, {**style, **more})


def moved(before: Draft, after: Draft) -> set[tuple[str, str]]:
    """Edges of both drafts that lie elsewhere, or have another length."""
    return {
        (m.piece, m.edge)
        for m in compare(before.pieces, after.pieces)
        if m.before_mm is not None and m.after_mm is not None
    }


@pytest.mark.parametrize(("block", "style"), STYLES)
def test_no_edge_moves_that_was_said_not_to(block: str, style: dict[str, Any]) -> None:
    """Each measure, each length and each choice changed in turn: every edge that moves hangs on it."""
    made = made_of(block, style)
    for key in made.measurements.values:
        found = slip(made, key, 7.0)
        for m in found.moves:
            if (m.piece, m.edge) in made.hangs_on and m.moved_mm is not None:
                assert key in made.hangs_on[m.piece, m.edge], (key, m)
    for option in get(block).options:
        written = {k: v for k, v in made.style.items() if v is not None}
        value = written.pop(option.key, None)
        others = [c for c in option.choices if c != value][:2]
        if option.kind == "number":
            others = [value + (0.2 if value + 0.2 <= option.high else -0.2)]  # type: ignore[operator]
        elif isinstance(value, float):
            others.append(value + 4.0 if value + 4.0 <= option.high else value - 4.0)  # type: ignore[arg-type]
        for other in others:
            try:
                style = in_mm({**written, option.key: other}, get(block).options)
                changed = draft(block, made.measurements, style)
            except DraftError:
                continue
            for spot in moved(made, changed):
                assert f"style.{option.key}" in made.hangs_on[spot], (option.key, other, spot)


def test_what_does_not_matter_is_not_listed() -> None:
    """A neckline hangs on neither waist nor hem; a fold on no girth; a skirt's hem on no waist
    finish."""
    top = made_of("quick-top", {})
    neckline = top.hangs_on["front", "neckline"]
    assert {"neck_width", "shoulder_length", "style.neckline"} <= neckline
    assert not neckline & {"waist_girth", "bust_girth", "style.flare", "style.hem_ease"}
    assert "bust_girth" not in top.hangs_on["front", "fold"]
    skirt = made_of("straight-skirt", {})
    assert "style.waist_finish" not in skirt.hangs_on["front", "hem"]
    assert (
        skirt.hangs_on["waistband", "left side"]
        == {"style.band_width", "style.band_overlap"} | (skirt.hangs_on["waistband", "waist"])
    )


def test_a_slip_by_hand() -> None:
    """1 cm more bust is 2.5 mm on each quarter; 1 cm more length moves the hem by that, and 1 cm more
    shoulder the armhole by about that; nothing moves more."""
    made = draft("quick-top", inches())
    bust = slip(made, "bust_girth", 10.0)
    side = next(m for m in bust.moves if (m.piece, m.edge) == ("front", "side"))
    assert side.moved_mm == pytest.approx(2.5, abs=0.05)
    found = slips(made, 10.0)
    assert {s.measure for s in found[:2]} == {"shoulder_length", "back_neck_to_tailbone"}
    assert [s.moved_mm for s in found[:2]] == pytest.approx([10.0, 10.0], abs=0.5)
    assert [s.moved_mm for s in found] == sorted((s.moved_mm for s in found), reverse=True)
    assert set(used_measures(made)) == set(get("quick-top").needs)
    assert slip(made, "bust_girth").by_mm == 12.7, "in inches the tape slips by half an inch"


def test_why_tells_value_and_effect() -> None:
    """The skirt's side: the hip by a quarter of a slip; options with their values; fit with its text."""
    body = Measurements.from_dict(SKIRT)
    made = draft("straight-skirt", body, {}, [{"change": "hip", "by": "1 cm"}])
    held = {h.key: h for h in why(made, edges_named(made, "front side"))}
    assert held["hip_girth"].value == "96.5 cm"
    assert held["hip_girth"].moved_mm == pytest.approx(2.5, abs=0.1)
    assert held["style.hip_ease"].value == "5.1 cm" and held["fit.hip"].value == "hip 10 mm"
    assert "style.band_width" not in held


def test_edges_are_named_as_she_may_write_them() -> None:
    """'side' is both sides, 'back: side' one; with four quarters 'side' finds left and right; an
    unknown one is told with the nearest."""
    made = draft("quick-top", inches())
    assert edges_named(made, "Side") == [("front", "side"), ("back", "side")]
    assert edges_named(made, "back: side") == [("back", "side")]
    fit = [{"change": "one shoulder lower", "by": "8 mm", "side": "left"}]
    four = draft("quick-top", inches(), {}, fit)
    assert ("front", "left side") in edges_named(four, "side")
    with pytest.raises(InputError, match="neckline"):
        edges_named(made, "neklin")


def test_the_picture_shows_each_measure_that_moves_something() -> None:
    """One small picture a measure, the farthest first, and none for one that moves nothing."""
    made = draft("quick-top", inches())
    svg = slips_svg(made, slips(made))
    names = [REGISTRY[k].name for k in get("quick-top").needs]
    told = [t for t in re.findall(r">([^<]+)<", svg) if t in names]
    assert set(told[:2]) == {"shoulder length", "back neck point to tailbone"}
    assert len(told) == 5, "the waist lies inside the straight side seam and moves nothing"


@pytest.mark.parametrize("name", ["styles/pier-skirt.yaml", "dockets/rehearsal-top.yaml"])
def test_the_command(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both options print their tables without a folder; with one the picture is written, no piece."""
    docket = str(CONFIGS / name)
    assert main(["draft", docket, "--why", "side", "--slips"]) == 0
    said = capsys.readouterr().out
    assert "hangs" in said and "slipped" in said and "twice" in said
    assert main(["draft", docket, "--slips", "--out", str(tmp_path)]) == 0
    assert [p.name for p in tmp_path.iterdir()] == ["slips.svg"]
    assert main(["draft", docket]) == 2
