"""Lines and words are seen on cloth in a lit room, and what is wrong is seen most."""

from __future__ import annotations

from dataclasses import replace

import pytest
from bench_contrast import CLOTHS
from PIL import ImageColor
from table_rig import docket, projector

from drafting import Cloth
from projector.picture.contrast import (
    LEAST,
    ROOM,
    colours_in,
    contrast,
    linear,
    made_visible,
    seen_on,
)
from projector.picture.look import FAINT_WIDTH, INKS, STYLES, Look, ink_for, look_of, suited
from projector.picture.stage import PieceState
from projector.session.sitting import Sitting


def test_the_luminance_of_grey_is_that_of_the_standard() -> None:
    """sRGB 188 is half of white's light (0.502 by IEC 61966-2-1, from memory), and two greys on a dark
    screen without room light would differ by their light alone."""
    assert linear((188, 188, 188))[0] == pytest.approx(0.503, abs=0.002)
    white, black = (255, 255, 255), (0, 0, 0)
    assert contrast(white, black) == pytest.approx((ROOM + 1.0) / ROOM, rel=0.02)
    assert contrast(black, white) == contrast(white, black)


def test_a_red_line_is_lost_on_green_cloth_and_not_on_red() -> None:
    """Cloth gives back its own colour only: what every stage lighter knows (common practice)."""
    red, black = (255, 40, 30), (0, 0, 0)
    assert contrast(red, black, (200, 30, 30)) > 2.0 * contrast(red, black, (30, 160, 40))


@pytest.mark.parametrize("words", CLOTHS)
@pytest.mark.parametrize("name", list(INKS))
def test_every_line_is_seen_on_every_cloth(words: str, name: str) -> None:
    """Three to one in a room with 18 % of the beam's white, in each ink, for each kind of line or word,
    also of a piece whose turn it is not (WCAG 2.2, from memory)."""
    cloth = colours_in(words)
    assert cloth
    ink = suited(name, cloth)
    for kind, style in STYLES.items():
        assert seen_on(ink.colours[style.colour], ink.ground, cloth) >= LEAST, kind
    assert seen_on(ink.faint, ink.ground, cloth) >= LEAST


@pytest.mark.parametrize("words", CLOTHS)
def test_what_is_wrong_is_seen_most(words: str) -> None:
    """Its light over the ground's, times its width, is more than that of any line inside a piece, and its
    bars come to that; a piece whose turn it is not has the least."""
    cloth = colours_in(words)
    ink = suited(ink_for(cloth), cloth)

    def strength(kind: str) -> float:
        style = STYLES[kind]
        return (seen_on(ink.colours[style.colour], ink.ground, cloth) - 1.0) * style.width_mm

    others = [k for k in STYLES if k != "trouble"]
    assert strength("trouble") >= max(map(strength, others)) * 0.99
    faint = (seen_on(ink.faint, ink.ground, cloth) - 1.0) * STYLES["cutting"].width_mm * FAINT_WIDTH
    assert faint < 0.5 * strength("cutting")


def test_colours_are_moved_no_further_than_they_must() -> None:
    """Half of the contrast asked: moved until it is there; twice of it: left alone."""
    dim, black, white = (60, 60, 60), (0, 0, 0), (255, 255, 255)
    had = seen_on(dim, black, ())
    assert made_visible(dim, white, black, (), least=0.5 * had) == dim
    made = made_visible(dim, white, black, (), least=2.0 * had)
    assert 2.0 * had <= seen_on(made, black, ()) < 2.2 * had
    assert made_visible(dim, white, black, (), least=99.0) == white


@pytest.mark.parametrize(
    ("words", "count"),
    [
        ("dark green", 1), ("wine red", 1), ("off-white", 1), ("blue and white", 2), ("#204030", 1),
        ("red, navy", 2), ("striped", 0), ("", 0), ("Bottle green with gold", 2),
    ],
)  # fmt: skip
def test_colours_are_read_out_of_words(words: str, count: int) -> None:
    """As a dressmaker writes them; what names no colour is passed over. Pillow keeps what it was asked
    once in another form: that changes nothing."""
    for name in ("red", "navy", "white", "grey"):
        ImageColor.getrgb(name)
    assert len(colours_in(words)) == count


def test_dark_green_is_darker_than_green() -> None:
    """Two words are one colour before they are a colour each."""
    (dark,), (green,) = colours_in("dark green"), colours_in("green")
    assert sum(dark) < sum(green)
    assert colours_in("wine red")[0][0] < 128


def test_the_cloth_chooses_the_ink_and_she_may_choose_another() -> None:
    """Bold on black, dark lines on a lit ground on a print of strong colours, light on white; what she
    chose is remembered, what the cloth chose follows the cloth."""
    assert ink_for(colours_in("white")) == "light" == ink_for(())
    assert ink_for(colours_in("black")) == "bold" == ink_for(colours_in("black and white"))
    assert ink_for(colours_in("red and navy")) == "dark"
    made = docket()
    assert made.cloth is not None
    black = made.replace(cloth=replace(made.cloth, colour="black"))
    sitting = Sitting(black, projector((640, 360)))
    assert sitting.state.stage.look == Look(ink="bold", cloth=((0, 0, 0),))
    assert "ink" not in sitting.state.settings()
    sitting.do("ink")
    sitting.do("ink")
    assert sitting.state.settings()["ink"] == "light"
    again = look_of(black.replace(table=sitting.state.settings()))
    assert again.ink == "light"


def test_bold_letters_are_larger_where_there_is_room() -> None:
    """On dark cloth the words of a large piece are higher, not their strokes alone."""
    sizes = {}
    for colour in ("white", "black"):
        made = docket()
        cloth = made.cloth if made.cloth is not None else Cloth()
        sitting = Sitting(
            made.replace(cloth=replace(cloth, colour=colour)), projector((640, 360), 1500.0)
        )
        strokes = sitting.state.stage.words_of(sitting.state.work.placed()[0], PieceState())
        points = [p for s in strokes for p in s]
        sizes[colour] = max(p[1] for p in points) - min(p[1] for p in points)
    assert sizes["black"] > 1.1 * sizes["white"]


def test_the_ink_turns_at_its_thresholds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half as light as the darkest cloth that light lines suit: bold; twice: light. Colours moved half as far
    as is let pass stay light or bold, twice as far turn dark."""
    from projector.picture import look

    def grey(luminance: float) -> tuple[tuple[int, int, int], ...]:
        level = next(v for v in range(256) if linear((v, v, v))[0] >= luminance)
        return ((level, level, level),)

    assert ink_for(grey(0.5 * look._DARK_CLOTH)) == "bold"
    assert ink_for(grey(2.0 * look._DARK_CLOTH)) == "light"
    print_ = colours_in("red and navy")
    for limit, ink in ((look._MOST_MOVED, "dark"), (2.0 * look._MOST_MOVED, "bold")):
        ink_for.cache_clear()
        monkeypatch.setattr(look, "_MOST_MOVED", limit)
        assert ink_for(print_) == ink
    ink_for.cache_clear()
