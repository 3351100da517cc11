"""The docket, one file for one garment: what it holds (`model`), read (`reader`), written back (`text`)."""

from __future__ import annotations

from drafting.docket.model import Docket as Docket
