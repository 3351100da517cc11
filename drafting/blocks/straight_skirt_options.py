"""The straight skirt's style options, with their limits. Common practice, no source."""

from __future__ import annotations

from drafting.style import Option

# Wearing ease of woven skirts: waist 1/2 to 3/4 in, hips 2 to 2 3/4 in (Central Washington
# University, costume text, chapter 16).
WAIST_EASE_MM, HIP_EASE_MM = 15.0, 51.0
LENGTHS_MM = {"short": 450.0, "knee": 600.0, "calf": 750.0}

OPTIONS: tuple[Option, ...] = (
    Option(
        "length",
        "both",
        "How long, from the waist down at the centre, band not counted.",
        "knee",
        250.0,
        1150.0,
        {
            "short": "45 cm, above the knee",
            "knee": "60 cm, about to the knee",
            "calf": "75 cm, to the calf",
        },
    ),
    Option("waist_ease", "length", "Ease round the body at the waist.", WAIST_EASE_MM, 0.0, 80.0),
    Option("hip_ease", "length", "Ease round the body at the hip.", HIP_EASE_MM, 0.0, 250.0),
    Option("flare", "length", "Added to the hem, round the body.", 0.0, 0.0, 600.0),
    Option("taper", "length", "Taken from the hem, round the body.", 0.0, 0.0, 120.0),
    Option(
        "centre_back",
        "choice",
        "Centre back: a seam that takes zip and slit, or on the fold; they then go into the left side.",
        "seam",
        choices={"seam": "back cut as a pair", "fold": "back cut in one"},
    ),
    Option(
        "zip_length",
        "length",
        "How far the opening for the zip reaches down; unset, 18 cm or 7 in.",
        None,
        80.0,
        300.0,
    ),
    Option(
        "slit",
        "both",
        "Vent at the hem to walk in, a plain slit in a side seam. Auto puts one where the hem is too "
        "narrow for a stride.",
        "auto",
        60.0,
        600.0,
        {"auto": "only where the stride needs it", "none": "never"},
    ),
    Option(
        "vent_width",
        "length",
        "How far the two sides of a slit in the centre-back seam overlap, as a vent.",
        40.0,
        30.0,
        60.0,
        when=(("centre_back", ("seam",)),),
    ),
    Option(
        "waist_finish",
        "choice",
        "What finishes the waist.",
        "band",
        choices={
            "band": "a straight band, folded, with an overlap at the zip",
            "facing": "a shaped facing inside",
            "none": "nothing; you add it",
        },
    ),
    Option(
        "band_width",
        "length",
        "Finished width of the band.",
        30.0,
        15.0,
        80.0,
        when=(("waist_finish", ("band",)),),
    ),
    Option(
        "band_overlap",
        "length",
        "How far the band reaches past the opening.",
        30.0,
        0.0,
        80.0,
        when=(("waist_finish", ("band",)),),
    ),
    Option(
        "facing_width",
        "length",
        "Width of the facing.",
        60.0,
        30.0,
        120.0,
        when=(("waist_finish", ("facing",)),),
    ),
)
