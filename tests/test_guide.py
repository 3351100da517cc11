"""The guide: every page loads, its commands can be typed, and the printed one has them all."""

from __future__ import annotations

import re
import shlex
from io import BytesIO
from pathlib import Path

import click
import pypdfium2
import pytest
import yaml
from click.testing import CliRunner

from configs import shipped
from projector.cli import cli
from projector.guide import ORDER, guide_pdf, lines_of, page, pages


def test_every_file_is_a_page() -> None:
    """What lies in the package is listed, and what is listed lies there."""
    assert {p.stem for p in shipped("guide").glob("*.txt")} == set(ORDER)
    said = CliRunner().invoke(cli, ["guide"]).output
    assert all(p.title in said for p in pages())


@pytest.mark.parametrize("name", ORDER)
@pytest.mark.parametrize("plain", [False, True])
def test_a_page_is_shown(name: str, plain: bool) -> None:
    """Each page fits 79 columns but for what is typed; no form of it is left over."""
    shown = page(name)
    lines = lines_of(shown, 79, plain=plain)
    assert lines[0] == shown.title and len(lines) > 15
    assert all(len(x) <= 79 or x.startswith("    ") for x in lines)
    assert not [x for x in lines if x.startswith(("#", "[picture"))]


@pytest.mark.parametrize("line", [c for p in pages() for c in p.typed()])
def test_commands_can_be_typed(line: str) -> None:
    """Every command on a page is one, with its arguments and options."""
    words, found = shlex.split(line)[1:], cli
    context = click.Context(cli, info_name="chalkbeam")
    while words and isinstance(found, click.Group):
        inner = found.get_command(context, words[0])
        assert inner is not None, line
        found, words = inner, words[1:]
        context = click.Context(found, parent=context, info_name=line)
    if not isinstance(found, click.Group):  # 'calibrate' alone leads
        found.parse_args(context, words)


def test_pieces_of_dockets_on_the_pages_are_yaml() -> None:
    """Lines for a docket on a page are read as one mapping each time."""
    for each in pages():
        typed = "\n".join(p.text for p in each.parts if p.kind == "typed" and not p.text.startswith("chalkbeam "))  # fmt: skip
        assert not typed or isinstance(yaml.safe_load(typed), dict), each.name


def test_the_printed_guide_has_every_page() -> None:
    """The PDF, read by another library, holds each page's title and last words, and pictures."""
    document = pypdfium2.PdfDocument(BytesIO(guide_pdf(pages())))
    sheets = [sheet.get_textpage().get_text_range() for sheet in document]
    text = " ".join(" ".join(sheets).split())
    for each in pages():
        assert each.title in text
        last = [p.text for p in each.parts if p.kind in ("text", "point")][-1].split()[-3:]
        assert " ".join(last) in text, each.name
    assert len(sheets) >= len(ORDER)
    pictures = [o for sheet in document for o in sheet.get_objects() if o.type == 3]
    assert pictures, "the lay is shown"


def test_a_wrong_name_is_answered_with_the_nearest() -> None:
    """`guide toil` names toile; nothing is written."""
    said = CliRunner().invoke(cli, ["guide", "toil", "--out", "x.pdf"])
    assert "toile" in str(said.exception) and not Path("x.pdf").exists()


def test_the_readme_is_short() -> None:
    """At most 900 words before the reference tables."""
    text = (Path(__file__).parent.parent / "README.md").read_text()
    before = text[: text.index("## The docket in full")]
    assert len(re.findall(r"\S+", before)) <= 900
