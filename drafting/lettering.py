"""Text on paper in any script for which this machine has a font, embedded in the PDF.

Under all that is printed. A PDF's built-in fonts know Latin-1 only; a title in Greek, Russian
or Japanese needs a TrueType font with those letters. None is shipped: the fonts of the machine
are looked through, those with a free licence first, and what no font covers is told, not lost.
"""

from __future__ import annotations

import os
import sys
import unicodedata
from collections.abc import Container, Iterable, Iterator, Sequence
from functools import cache
from itertools import chain, count
from pathlib import Path
from typing import Any

CORE = "Helvetica"  # built into every PDF reader; Latin-1
MAX_FONTS_TRIED = 400

# looked for first, in this order: free licences, then what comes with the system
_PREFERRED = (
    "DejaVuSans.ttf",
    "NotoSans-Regular.ttf",
    "LiberationSans-Regular.ttf",
    "FreeSans.ttf",
    "DroidSansFallbackFull.ttf",
    "Arial Unicode.ttf",
    "segoeui.ttf",
    "arial.ttf",
    "NotoSansCJK-Regular.ttc",
    "wqy-zenhei.ttc",
    "msgothic.ttc",
    "msyh.ttc",
    "malgun.ttf",
)


def unlike(name: str, taken: Container[str], between: str = " ") -> str:
    """The name, or the first of 'name 2', 'name 3' … that is not taken."""
    numbered = (f"{name}{between}{n}" for n in count(2))
    return next(made for made in chain([name], numbered) if made not in taken)


def font_folders() -> list[Path]:
    """Where this system keeps fonts (those folders that exist)."""
    home = Path.home()
    if sys.platform == "win32":
        folders = [Path(os.environ.get("WINDIR", r"C:\Windows")) / "Fonts"]
    elif sys.platform == "darwin":
        folders = [Path("/System/Library/Fonts"), Path("/Library/Fonts"), home / "Library/Fonts"]
    else:
        folders = [
            home / ".local/share/fonts",
            Path("/usr/local/share/fonts"),
            Path("/usr/share/fonts"),
        ]
    return [f for f in folders if f.is_dir()]


def font_files(own: Sequence[Path] = (), kinds: tuple[str, ...] = (".ttf",)) -> Iterator[Path]:
    """Font files of this machine, her ``own`` first, then those looked for first, then the rest."""
    yield from own
    files: list[Path] = []
    for folder in font_folders():
        for base, _, names in os.walk(folder):
            files += [Path(base) / n for n in names if n.lower().endswith(kinds)]
    rank = {name: i for i, name in enumerate(_PREFERRED)}

    def order(file: Path) -> tuple[int, int, str]:
        plain = "regular" in file.name.lower() or "-" not in file.name
        return rank.get(file.name, len(rank)), 0 if plain else 1, str(file)

    yield from sorted(files, key=order)[:MAX_FONTS_TRIED]


@cache
def _letters_of(file: Path) -> frozenset[int]:
    """Code points that a font has outlines for; none when it may not be embedded or is broken."""
    from fontTools.ttLib import TTFont, TTLibError

    try:
        with TTFont(file, lazy=True) as font:
            forbidden = font["OS/2"].fsType & 0x000F == 0x0002  # restricted licence embedding
            return frozenset() if forbidden or "glyf" not in font else frozenset(font.getBestCmap())
    except (TTLibError, OSError, KeyError, AttributeError, AssertionError, ValueError):
        return frozenset()


_MIRRORED = dict(zip("()[]{}<>«»‹›", ")(][}{><»«›‹", strict=True))


def one_line(text: str) -> str:
    """Her text as one line that every file can hold: control characters and half letters (lone
    surrogates) become spaces."""
    return "".join(" " if unicodedata.category(c) in ("Cc", "Cs") else c for c in text)


def drawn_order(text: str) -> str:
    """One line of text as it is drawn from left to right: right-to-left scripts turned round by
    the Unicode bidirectional algorithm, their brackets mirrored, Arabic letters joined."""
    line = "".join(
        " " if unicodedata.category(c).startswith("C") else c
        for c in unicodedata.normalize("NFC", text)
    )
    if not any(unicodedata.bidirectional(c) in ("R", "AL") for c in line):
        return line
    from fpdf.bidi import BidiParagraph

    return "".join(
        _MIRRORED.get(c.character, c.character) if c.embedding_level % 2 else c.character
        for c in BidiParagraph(_joined(line)).get_reordered_characters()
    )


@cache
def _arabic_forms() -> dict[str, dict[str, str]]:
    """Letter (or lam with an alef) → initial, medial, final, isolated → its own character.

    From the compatibility decompositions of Unicode's block Arabic Presentation Forms-B.
    """
    forms: dict[str, dict[str, str]] = {}
    for code in range(0xFE80, 0xFEFD):
        kind, *letters = unicodedata.decomposition(chr(code)).split()
        base = "".join(chr(int(letter, 16)) for letter in letters)
        forms.setdefault(base, {})[kind.strip("<>")] = chr(code)
    return forms


def _joined(line: str) -> str:
    """Arabic letters in the form that their neighbours ask for; vowel signs are left out of it."""
    forms = _arabic_forms()
    out: list[str] = []
    before = False  # does the letter before reach over to this one
    at = 0
    while at < len(line):
        letter = line[at : at + 2] if line[at : at + 2] in forms else line[at]
        at += len(letter)
        own = forms.get(letter)
        if own is None:
            out.append(letter)
            before = before and unicodedata.category(letter) == "Mn"
            continue
        after = next((c for c in line[at:] if unicodedata.category(c) != "Mn"), "")
        onward = "initial" in own and "final" in forms.get(after, {})
        back = before and "final" in own
        kind = ("medial" if onward else "final") if back else ("initial" if onward else "isolated")
        out.append(own.get(kind, letter))
        before = onward
    return "".join(out)


class Lettering:
    """Measures and writes text with the fonts that a document's letters need.

    ``missing``: characters that no font here has, written as '□' and to be told to the person.
    """

    def __init__(self, pdf: Any, texts: Iterable[str], own: Sequence[Path] = ()) -> None:
        self.pdf = pdf
        wanted = {ord(c) for text in texts for c in drawn_order(text)}
        wanted |= {ord(c) for c in "□ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 /·,.-×"}
        self.letters: dict[str, frozenset[int]] = {}
        latin = frozenset(c for c in range(32, 256) if not 126 < c < 160)
        left = set(wanted)  # also plain letters: printers want every font in the file
        for file in font_files(own):
            has = _letters_of(file) & wanted
            if has & left - ({ord("□")} if self.letters else set()):
                family = f"own{len(self.letters)}"
                pdf.add_font(family, fname=str(file))
                self.letters[family] = has
                left -= has
            if not left:
                break
        if not self.letters:
            self.letters[CORE] = latin
            left = wanted - latin
        self.missing = "".join(sorted(chr(c) for c in left - {ord("□")}))
        first, has = next(iter(self.letters.items()))
        self.blank = "□" if ord("□") in has else "?"
        self.first = first

    def runs(self, text: str) -> list[tuple[str, str]]:
        """(font family, letters) from left to right, for one line of text."""
        runs: list[tuple[str, str]] = []
        for c in drawn_order(text):
            family = next((f for f, has in self.letters.items() if ord(c) in has), "")
            if not family:
                family, c = self.first, self.blank
            if runs and runs[-1][0] == family:
                runs[-1] = (family, runs[-1][1] + c)
            else:
                runs.append((family, c))
        return runs

    def width(self, text: str, size_mm: float) -> float:
        """Width in mm of a line of text at a letter height (em) of ``size_mm``."""
        total = 0.0
        for family, letters in self.runs(text):
            self.pdf.set_font(family, size=size_mm / 25.4 * 72.0)
            total += self.pdf.get_string_width(letters)
        return total

    def write(self, x: float, y: float, text: str, size_mm: float) -> None:
        """One line of text, its base line starting at (x, y) mm on the page."""
        for family, letters in self.runs(text):
            self.pdf.set_font(family, size=size_mm / 25.4 * 72.0)
            self.pdf.text(x, y, letters)
            x += self.pdf.get_string_width(letters)

    def fitted(self, text: str, size_mm: float, width: float, least_mm: float = 2.0) -> float:
        """A letter height no larger than ``size_mm`` at which ``text`` is no wider than ``width``."""
        needed = self.width(text, size_mm)
        return max(least_mm, size_mm * min(1.0, width / needed)) if needed > 0 else size_mm
