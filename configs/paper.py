"""Paper: its sizes, and the PDF documents that are printed on it.

Under everything that is printed: patterns and steps (`drafting`), cards (`calibrate`).
"""

from __future__ import annotations

from typing import Any

# width × height mm: ISO 216; Letter, Legal and Tabloid as sold in North America
PAPERS = {
    "a4": (210.0, 297.0),
    "a3": (297.0, 420.0),
    "a0": (841.0, 1189.0),
    "letter": (215.9, 279.4),
    "legal": (215.9, 355.6),
    "tabloid": (279.4, 431.8),
}


def pdf_document(page_mm: tuple[float, float], title: str) -> Any:
    """An empty fpdf2 document for pages of (width, height) mm, in mm from the top-left corner.

    Nothing is set by the library (no margin, no page break), and viewers are asked to print it at
    100 % (ISO 32000, ViewerPreferences).
    """
    from fpdf import FPDF
    from fpdf.prefs import ViewerPreferences

    pdf = FPDF(orientation="P", unit="mm", format=page_mm)
    pdf.set_margin(0)
    pdf.set_auto_page_break(False)
    pdf.set_creator("chalkbeam")
    pdf.set_title(title)
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
    return pdf
