"""What may be chosen on the quick top: style options with their limits.

Read by `drafting.style.resolve`, listed by ``chalkbeam blocks``.
"""

from __future__ import annotations

from drafting.blocks.quarter_lines import (
    INCH,
)
from drafting.style import Option

BUST_EASE_MM = 4 * INCH  # 1 in on each quarter
WAIST_EASE_MM = 3 * INCH
HEM_EASE_MM = 4 * INCH


# --- what may be chosen ------------------------------------------------------------------------

_SHAPES = {
    "round": "follows the base of the neck",
    "scoop": "deep and round",
    "v": "two nearly straight lines to a point",
    "square": "straight down, straight across",
    "boat": "wide and shallow, from shoulder to shoulder",
}
OPTIONS: tuple[Option, ...] = (
    Option(
        "length",
        "both",
        "How long, from the back neck point down; the names go by the wearer's own length.",
        "top",
        300.0,
        1300.0,
        {
            "crop": "ends above the waist",
            "waist": "ends just below the waist",
            "top": "ends at the tailbone",
            "tunic": "15 cm longer",
            "dress": "42 cm longer, to about the knee",
        },
    ),
    Option("bust_ease", "length", "Ease round the body at the bust.", BUST_EASE_MM, 0.0, 400.0),
    Option("waist_ease", "length", "Ease round the body at the waist.", WAIST_EASE_MM, 0.0, 400.0),
    Option("hem_ease", "length", "Ease round the body at the hem.", HEM_EASE_MM, 0.0, 400.0),
    Option("neckline", "choice", "Shape of the front neckline.", "round", choices=_SHAPES),
    Option("back_neckline", "choice", "Shape of the back neckline.", "round", choices=_SHAPES),
    Option(
        "front_neck_depth",
        "length",
        "Front neckline, below the top line at the centre; unset, it goes by its shape.",
        None,
        15.0,
        320.0,
    ),
    Option(
        "back_neck_depth",
        "length",
        "Back neckline, below the top line at the centre; unset, it goes by its shape.",
        None,
        10.0,
        320.0,
    ),
    Option(
        "neck_point_out",
        "length",
        "Neck point moved out along the shoulder line, on each side; unset, it goes by the shape.",
        None,
        0.0,
        90.0,
    ),
    Option(
        "shoulder_seam",
        "choice",
        "The sloping shoulder seam as drawn, or cut to the measured shoulder length.",
        "drawn",
        choices={"drawn": "to the shoulder mark", "measured": "as long as the shoulder"},
    ),
    Option(
        "shoulder_in",
        "length",
        "Shoulder narrower at its outer end, for a sleeveless top.",
        0.0,
        0.0,
        70.0,
    ),
    Option(
        "waist",
        "choice",
        "Side seam straight from bust to hem, or shaped in at the waist (4 cm at most).",
        "straight",
        choices={"straight": "an A-line", "shaped": "through the eased waist"},
    ),
    Option(
        "sleeve",
        "choice",
        "A sleeve grown on to the shoulder.",
        "none",
        choices={
            "none": "an armhole",
            "cap": "5 cm over the shoulder point",
            "short": "18 cm or a little more, with an underarm",
            "elbow": "30 cm, with an underarm",
        },
    ),
    Option(
        "sleeve_length",
        "length",
        "Grown-on sleeve from the shoulder point; up to 7.5 cm it is a cap.",
        None,
        20.0,
        380.0,
        when=(("sleeve", ("cap", "short", "elbow")),),
    ),
    Option(
        "sleeve_width",
        "length",
        "Grown-on sleeve round the arm at its hem; unset, the upper arm and 6 cm.",
        None,
        220.0,
        700.0,
        when=(("sleeve", ("short", "elbow")),),
    ),
    Option("flare", "length", "Added to the hem, round the body.", 0.0, 0.0, 900.0),
    Option(
        "hem",
        "choice",
        "Shape of the hem.",
        "level",
        choices={"level": "hangs level", "shirt-tail": "rises to the side seam"},
    ),
    Option(
        "hem_rise",
        "length",
        "How far a shirt-tail hem rises at the side.",
        None,
        20.0,
        160.0,
        when=(("hem", ("shirt-tail",)),),
    ),
    Option(
        "centre_back",
        "choice",
        "Back cut on the fold, or in two with a seam.",
        "fold",
        choices={"fold": "one piece", "seam": "two pieces"},
    ),
    Option(
        "opening",
        "choice",
        "A slit at the centre back so that the head passes.",
        "auto",
        choices={
            "auto": "only where the head needs it",
            "slit": "always",
            "none": "never (cloth that stretches)",
        },
    ),
    Option(
        "opening_length",
        "length",
        "Length of the slit.",
        None,
        30.0,
        400.0,
        when=(("opening", ("slit",)),),
    ),
    Option(
        "side_opening",
        "choice",
        "An opening for a zip in the left side seam, where the body would not pass.",
        "auto",
        choices={
            "auto": "only where the body needs it",
            "zip": "always",
            "none": "never (cloth that stretches)",
        },
    ),
    Option(
        "gathers",
        "choice",
        "Neckline with fullness to gather in, slashed and spread to the hem.",
        "none",
        choices={
            "none": "plain",
            "front": "at the front neckline",
            "back": "at the back neckline",
            "both": "all round",
        },
    ),
    Option(
        "gather_ratio",
        "number",
        "Length of the neckline before gathering, as a multiple of the finished one.",
        1.5,
        1.1,
        2.5,
        when=(("gathers", ("front", "back", "both")),),
    ),
    Option(
        "gather_spread",
        "choice",
        "Where the fullness goes.",
        "even",
        choices={"even": "down to the hem", "top": "only at the neckline, hinged at the hem"},
        when=(("gathers", ("front", "back", "both")),),
    ),
    Option(
        "neckline_finish",
        "choice",
        "How the neckline is finished; facings and bindings become pieces.",
        "none",
        choices={
            "none": "left to you",
            "facing": "a facing of its shape",
            "bias": "bound with a bias strip",
        },
    ),
    Option(
        "armhole_finish",
        "choice",
        "How the armholes are finished.",
        "none",
        choices={
            "none": "left to you",
            "facing": "a facing of its shape",
            "bias": "bound with a bias strip",
        },
    ),
    Option(
        "facing_width",
        "length",
        "Width of facings.",
        60.0,
        25.0,
        120.0,
        when=(("neckline_finish", ("facing",)), ("armhole_finish", ("facing",))),
    ),
    Option(
        "binding_width",
        "length",
        "Width of bias strips as cut: four times the finished width.",
        28.0,
        16.0,
        80.0,
        when=(("neckline_finish", ("bias",)), ("armhole_finish", ("bias",))),
    ),
    Option(
        "pocket",
        "choice",
        "Patch pocket, its place marked on the front.",
        "none",
        choices={"none": "none", "chest": "one on the chest", "hip": "two below the waist"},
    ),
    Option(
        "pocket_width",
        "length",
        "Width of the finished pocket; unset, 12.5 cm, or less where the front has no room.",
        None,
        60.0,
        220.0,
        when=(("pocket", ("chest", "hip")),),
    ),
    Option(
        "pocket_depth",
        "length",
        "Depth of the finished pocket; unset, 14 cm, or less where the front has no room.",
        None,
        60.0,
        260.0,
        when=(("pocket", ("chest", "hip")),),
    ),
)
