"""What is said to bad input: 95 slips and more, each answered in words that a person can act on.

Our own list, of what people at a cutting table write; nothing here is from a source.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from configs import shipped
from drafting import Docket
from projector.cli import main

TOP = {
    "title": "t",
    "measurements": "alto-3.yaml",
    "garment": "{block: quick-top}",
    "allowances": "{all: 10 mm}",
    "cloth": "{width: 1400 mm, length: 2 m}",
}
STYLE = [  # what stands under style, what must be in the answer
    ("length: long", "'dress'"), ("length: maxi", "'dress'"), ("length: tunik", "'tunic'"),
    ("length: yes", "'yes'"), ("length: 54", "54 cm"), ("length: 4 m", "Limits"),
    ("neckline: yes", "boat, round"), ("neckline: bateau", "'boat'"), ("neckline: crew", "'round'"),
    ("neckline: vee", "'v'"), ("neckline: 3", "boat"), ("neckline: [v]", "boat"),
    ("bust_ease: 4", "4 cm or 4 in"), ("bust_ease: 2.5", "2.5 cm"), ("bust_ease: -4 cm", "less than nothing"),
    ("bust_ease: lots", "not a length"), ("bust_ease: 4 elbows", "elbows"), ("flare: 20", "20 cm or 20 in"),
    ("hem_ease: 3/", "not a length"), ("waist_ease: 311/2", "31 1/2"), ("waist_ease: 3 in 4", "not one length"),
    ("front_neck_depth: 1 m", "Limits"), ("nekline: v", "'neckline'"), ("colour: red", "unknown key"),
]  # fmt: skip
CLOTH = [
    ("{width: 140}", "140 cm"), ("{width: 1.4}", "1.4 m"), ("{width: wide}", "not a length"),
    ("{width: 0}", "width"), ("{width: -140 cm}", "less than nothing"), ("{width: 140 cm, selvedge: 1}", "1 cm"),
    ("{width: 140 cm, fold: yes}", "'lengthwise'"), ("{width: 140 cm, fold: folded}", "'lengthwise'"),
    ("{width: 140 cm, fold: lenghtwise}", "'lengthwise'"), ("{width: 140 cm, nap: yes}", "'one-way'"),
    ("{width: 140 cm, nap: velvet}", "'one-way'"), ("{width: 140 cm, nap: onewy}", "one-way"),
    ("{width: 140 cm, napp: none}", "'nap'"), ("{width: 140 cm, length: 2}", "2 m"),
    ("{width: 140 cm, price: cheap}", "price"), ("{width: 140 cm, repeat: {length: lots}}", "not a length"),
    ("{width: 140 cm, shrinkage: {length: 300 %}}", "shrinkage"), ("{width: 140 cm, match: side}", "match"),
    ("{length: 2 m}", "width"), ("velvet.yaml", "velvet.yaml"), ("[140]", "cloth"), ("cotton", "cotton"),
    ("{outline: [[0, 0]]}", "outline"), ("{width: 140 cm, grain_tolerance: much}", "grain_tolerance"),
]  # fmt: skip
ALLOWANCES = [
    ("{hemm: 25 mm}", "'hem'"), ("{hem: 1 m}", "0"), ("{hem: wide}", "not a length"), ("{hem: -5 mm}", "less"),
    ("{neck: 6 mm}", "'neckline'"), ("[10]", "allowances"), ("10 mm", "allowances"), ("{all: 2 5 mm}", "not one length"),
    ("{sides: 10 mm}", "'side'"), ("{all: yes}", "all"), ("{front: {sidee: 10 mm}}", "'side'"), ("{frnt: {side: 10 mm}}", "'front'"),
]  # fmt: skip
FIT = [
    ("[{change: shulder down, by: 6 mm}]", "'shoulder down'"), ("[{change: bust}]", "by"),
    ("[{by: 6 mm}]", "change"), ("{change: bust, by: 6 mm}", "list"), ("[{change: bust, by: some}]", "not a length"),
    ("[{change: bust, by: 3 m}]", "more than"), ("[{change: bust, by: 2 cm, where: hem}]", "where"),
    ("[bust]", "bust"), ("[{change: bust, by: 1 cm, whre: front}]", "'where'"), ("[{change: one shoulder lower, by: 1 cm}]", "side"),
]  # fmt: skip
TOP_KEYS = [
    ("chalkbeam", "2", "version"), ("chalkbeam", "yes", "version"), ("garment", "quick-top", "pairs"),
    ("garment", "{block: quik-top}", "quick-top"), ("garment", "{block: 3}", "block"), ("garment", "{style: {}}", "block"),
    ("garment", "{block: quick-top, neckline: v}", "style"), ("garment", "{blok: quick-top}", "'block'"),
    ("measurements", "alto-4.yaml", "alto-4.yaml"), ("measurements", "3", "measurements"), ("measurements", "top.yaml", "docket"),
    ("quantity", "0", "whole number"), ("quantity", "two", "whole number"), ("quantity", "1.5", "whole number"),
    ("distance", "1 m", "outside"), ("distance", "close", "not a length"), ("unit", "elbows", "elbows"),
    ("shares", "[top.yaml]", "itself"), ("traced", "front", "piece/copy"), ("traced", "[frnt/1]", "'front'"),
    ("lay", "[{piece: frnt, at: [0, 0]}]", "'front'"), ("lay", "[{at: [0, 0]}]", "missing"), ("lay", "front", "list"),
    ("lay", "[{piece: front, at: 3}]", "[x, y]"), ("titel", "x", "'title'"), ("clot", "{width: 140 cm}", "'cloth'"),
]  # fmt: skip
MEASURES = [
    ("bust_girth: 311/2", "31 1/2"), ("bust_girth: big", "not a length"), ("bust_girth: [92,5 cm]", "comma"),
    ("bust_girth: 0", "is 0"), ("bust_girth: 92 m", "5 m"), ("bust_girt: 92", "'bust_girth'"), ("bust_girth: [1, 2, 3]", "3 values"),
]  # fmt: skip
LINES = [
    (["draft"], "missing"), (["draft", "top.yaml"], "--out"), (["draft", "nix.yaml", "--out", "o"], "nix.yaml"),
    (["lay", "top.yaml", "--seconds", "-1"], "from 0"), (["lay", "top.yaml", "--secnds", "1"], "--seconds"),
    (["print", "top.yaml", "--paper", "a5", "--out", "o.pdf"], "a4"), (["print", "top.yaml", "--paper", "a4", "--out", "o.png"], "o.pdf"),
    (["layy", "top.yaml"], "'lay'"), (["calibrate", "fotos"], "'photo'"), (["guide", "toil"], "'toile'"),
    (["blocks", "quick-tip"], "quick-top"), (["calibrate", "pattern", "--size", "big", "--out", "p.png"], "big"),
    (["export", "top.yaml", "--out", "o.pdf"], "o.svg"), (["measure", "m.yaml", "--unit", "elbow"], "elbow"),
    (["calibrate", "cards", "--paper", "legal", "--out", "c.pdf"], "'letter'"), (["lay", "top.yaml", "--unit", "inch"], "'in'"),
    (["print", "top.yaml", "--paper", "din-a4", "--out", "o.pdf"], "'a4'?"), (["blocks", "skirt"], "'straight-skirt'"),
    (["guide", "tape"], "'calibrating'"), (["guide", "muslin"], "'toile'"), (["plan", "top.yaml"], "'lay'"),
    (["pdf", "top.yaml"], "'print'"), (["lay", "top.yml"], "top.yaml?"), (["lay", "top"], "top.yaml?"),
    (["frame", "top.yaml", "--mode", "tracing", "--calibration", "c.yaml", "--out", "f.png"], "'trace'"),
    (["lay", "top.yaml", "--distance", "1"], "did you mean 1 cm or 1 in?"), (["lay", "top.yaml", "--with", "top.yaml"], "top.yaml"),
    (["print", "top.yaml", "--paper", "roll", "--roll-width", "90", "--out", "o.pdf"], "did you mean 90 cm"),
    (["calibrate", "pattern", "--size", "1920x1080", "--beam-width", "120", "--out", "p.png"], "did you mean 120 cm"),
    (["calibrate", "crosses", "--size", "1920x1080", "--count", "5", "--out", "x.png"], "4, 6, 9"),
    (["calibrate", "tape", "d.yaml", "--size", "1920x1080", "--out", "c.yaml"], "d.yaml"), (["demo", "--out", "top.yaml"], "top.yaml"),
    (["wardrobe", "nowhere"], "nowhere"), (["base", "top.yaml"], "--out"), (["cloth", "nix.jpg", "--out", "cloth.yaml"], "nix.jpg"),
    (["import", "nix.svg", "bag.yaml"], "nix.svg"), (["calibrate", "photo", "nix.jpg", "--size", "1920x1080", "--out", "c.yaml"], "nix.jpg"),
    (["calibrate", "check", "nix.jpg", "--calibration", "c.yaml"], "c.yaml"), (["draft", "top.yaml", "--why", "hemm"], "'hem'"),
]  # fmt: skip


def docket(**changed: str) -> str:
    """A docket's text with some keys changed."""
    return "".join(f"{k}: {v}\n" for k, v in ({"chalkbeam": "1"} | TOP | changed).items())


SLIPS: list[tuple[str, list[str], str]] = [
    *((docket(garment=f"{{block: quick-top, style: {{{s}}}}}"), [], t) for s, t in STYLE),
    *((docket(cloth=s), [], t) for s, t in CLOTH),
    *((docket(allowances=s), [], t) for s, t in ALLOWANCES),
    *((docket(garment=f"{{block: quick-top, fit: {s}}}"), [], t) for s, t in FIT),
    *((docket(**{k: s}), [], t) for k, s, t in TOP_KEYS),
    *((docket(measurements=f"{{unit: in, {s}}}"), [], t) for s, t in MEASURES),
    *((docket(), words, t) for words, t in LINES),
]


def test_there_are_enough() -> None:
    """Ninety-five were tried once; no fewer are now."""
    assert len(SLIPS) >= 95


@pytest.mark.parametrize("number", range(len(SLIPS)))
def test_a_slip_is_answered(
    number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, the right word in it, each fault in a line and said once, nothing written."""
    text, words, told = SLIPS[number]
    monkeypatch.chdir(tmp_path)
    Path("alto-3.yaml").write_bytes(shipped("measurements", "alto-3.yaml").read_bytes())
    Path("top.yaml").write_text(text)
    there = sorted(p.name for p in tmp_path.iterdir())
    code = main(words or ["export", "top.yaml", "--out", "o.svg"])
    if not words and code == 0:  # cloth and lay are no export's matter
        code = main(["lay", "top.yaml", "--dry-run", "--seconds", "0"])
    said = capsys.readouterr().err
    assert code == 2, (text or words, said)
    assert told in said, said
    assert (
        said.startswith("Not done") and "Traceback" not in said and "fault in chalkbeam" not in said
    )
    lines = said.strip().splitlines()
    assert len(set(lines)) == len(lines), "each thing once"
    assert max(map(len, lines)) <= 450, said
    assert sorted(p.name for p in tmp_path.iterdir() if p.name != "o.svg") == there


def test_all_faults_of_a_docket_come_in_one_message(tmp_path: Path) -> None:
    """Cloth, style, fit and edges that are all wrong are told together, not one after the other."""
    from configs.errors import InputError

    (tmp_path / "alto-3.yaml").write_bytes(shipped("measurements", "alto-3.yaml").read_bytes())
    bad = "{block: quick-top, style: {length: maxi, bust_ease: 4}, fit: [{change: shulder down, by: 6 mm}]}"
    path = tmp_path / "top.yaml"
    for cloth in ("{width: 140}", "{width: 1400 mm}"):
        path.write_text(docket(garment=bad, allowances="{hemm: 10 mm}", cloth=cloth))
        with pytest.raises(InputError) as caught:
            Docket.load(path).pieces()
        told = str(caught.value)
        for word in (
            "length",
            "bust_ease",
            "shulder",
            "hemm",
            *(("width",) if "140}" in cloth else ()),
        ):
            assert word in told, told
