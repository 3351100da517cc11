"""A photo file to pixels: measured by its header first, then decoded, upright and whole.

First step of everything that looks at a photo: calibration, check, and the cloth on the table.
"""

from __future__ import annotations

import io
import warnings
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from calibrate.arrays import Image
from configs.errors import Fault, InputError
from configs.files import read_bytes

_FORMATS = ("JPEG", "PNG", "WEBP", "BMP", "TIFF")
MOST_PIXELS = 60_000_000  # decoded it takes 3 bytes each, and looked at some 20
_MOST_BYTES = 400_000_000  # 60 megapixels of 16 bits, not packed
_LEAST_PX = (640, 360)


def read_photo(path: str | Path) -> Image:
    """A photo file as (H, W, 3) uint8 RGB, turned as its EXIF orientation says.

    Nothing is decoded before the header has told that the size is one to work with.

    Raises:
        InputError: missing, no picture that can be read, cut short, too small or too large.
    """
    from PIL import Image as Pictures
    from PIL import ImageOps, TiffImagePlugin, WebPImagePlugin  # noqa: F401  # they register themselves

    path = Path(path)
    data = read_bytes(path, _MOST_BYTES)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Pictures.DecompressionBombWarning)  # ours is stricter
            picture = Pictures.open(io.BytesIO(data), formats=_FORMATS)
    except Pictures.DecompressionBombError as error:
        raise InputError(
            Fault(str(path), f"is larger than {MOST_PIXELS // 10**6} megapixels.", _SEND)
        ) from error
    except Exception as error:  # decoders raise what they like on files that are none
        raise InputError(
            Fault(
                str(path),
                "is no picture that this program can read.",
                "Save the photo as JPEG or PNG (phones: 'most compatible') and try again.",
            )
        ) from error
    _check_size(picture.size, str(path))
    try:
        upright = ImageOps.exif_transpose(picture)
        if upright.mode.startswith("I"):  # 16 bits of grey; a plain conversion would clip them
            return check_photo((np.asarray(upright) >> 8).astype(np.uint8), str(path))
        return check_photo(np.array(upright.convert("RGB")), str(path))
    except InputError:
        raise
    except Exception as error:  # as above
        raise InputError(
            Fault(
                str(path),
                "is a picture that is cut short or damaged.",
                "Copy it from the phone or camera again.",
            )
        ) from error


_SEND = "From 2 to 48 megapixels works best: send the photo itself, not a preview or a scan of it."


def _check_size(size: tuple[int, int], where: str) -> None:
    w, h = size
    if max(w, h) < _LEAST_PX[0] or min(w, h) < _LEAST_PX[1] or w * h > MOST_PIXELS:
        raise InputError(Fault(where, f"is {w} x {h} px.", _SEND))


def check_photo(photo: ArrayLike, where: str = "photo") -> Image:
    """(H, W) or (H, W, 3) uint8 as (H, W, 3).

    Raises:
        InputError: not a picture, under 640 x 360 px, or over 60 megapixels.
    """
    picture = np.asarray(photo)
    if picture.dtype != np.uint8 or picture.ndim not in (2, 3):
        raise InputError(Fault(where, f"is no 8-bit picture (shape {picture.shape})."))
    _check_size((picture.shape[1], picture.shape[0]), where)
    if picture.ndim == 2:
        picture = np.repeat(picture[:, :, None], 3, axis=2)
    if picture.shape[2] != 3:
        raise InputError(Fault(where, f"has {picture.shape[2]} channels; expected 3."))
    return picture
