"""What the pages of first light say, and which buttons stand on them."""

from __future__ import annotations

Words = tuple[str, str, str]
CAUTIONS = (
    "Never look into the lens; keep children and pets out of the beam.",
    "Fit the projector only as its maker and the mount's maker say. Local rules come first.",
)
PRESENTER = "With a presenter: black marks a button, forward moves on, black again presses it."
START = (
    ("1", "a photo: phone or camera, and the four printed cards"),
    ("2", "a webcam over the table, and the four printed cards"),
    ("3", "a tape measure, and nothing else"),
    ("R", "first: what a steel rule reads on the cards' two printed bars"),
    ("Esc", "leave"),
)
LOOK = ("4", "no calibration: only a look at the lay, not to scale")
TO_THE_LAY = "back to the lay as it was, not calibrated anew"
IN_A_WINDOW = "This is a window: what is found here holds for the window only, and is not kept."
BARS_ASKED = ("the bar along the page's width", "the bar along the page's height")
TAPE_KEYS = "Enter: next (empty leaves a pair out). Back: mend. Tab: enough, solve. Esc: leave."
_DIGITS = "1234567890."
# first what must have room on a small beam
_TYPING: tuple[Words, ...] = (
    ("return", "Next", "Enter"),
    ("backspace", "Mend", "Back"),
    *((d, d, "") for d in _DIGITS),
    ("/", "/", ""),
    ("space", "space", ""),
)
# the strip's buttons of each page: the key they press, their words, that key as it is printed
BUTTONS: dict[str, tuple[Words, ...]] = {
    "start": (
        ("1", "Photo", "1"), ("2", "Webcam", "2"), ("3", "Tape", "3"), ("4", "Look", "4"),
        ("r", "Bars", "R"),
        ("escape", "Leave", "Esc"),
    ),
    "photo": (("space", "Pattern", "Space"), ("r", "Bars", "R"), ("escape", "Go back", "Esc")),
    "pattern": (),
    "tape": (
        ("escape", "Go back", "Esc"), ("tab", "Solve", "Tab"), *_TYPING, ("delete", "Anew", "Del"),
    ),
    "bars": (("escape", "Go back", "Esc"), *_TYPING),
    "done": (
        ("space", "Take it", "Space"), ("r", "Bars", "R"), ("backspace", "Again", "Back"),
        ("escape", "Leave", "Esc"),
    ),
}  # fmt: skip
PHOTO_STEPS = (
    ("1", "Print the cards once at 100 % (chalkbeam calibrate cards); cut the four out. No curl."),
    ("R", "Lay a steel rule on the two printed bars and type what it reads: printers rescale."),
    ("2", "Room dim, projector warm, its own keystone, overscan and sharpening off."),
    ("3", "Press Space: the pattern appears, with bright windows near the corners."),
    ("4", "One card flat into each window, on what you cut on (dark or shiny? white paper first)."),
    ("5", "Photograph all that is lit, from above, flash off. No part of a card cut off."),
    ("6", "Put the photo into the folder named below. It is found by itself."),
)
