"""The one door to OpenCV: every module of the project writes ``from corrosion.opencv import cv2``.

Two things have to happen around the import and are easy to forget elsewhere: the library's own pixel
limit is read from the environment once, at import, and a missing system library should be one line with
the packages to install, not a traceback.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from corrosion.errors import MissingLibraryError

DEBIAN_PACKAGES = ("libgl1", "libglib2.0-0", "libxcb1")
"""Debian packages with the shared libraries that the `opencv-python` wheel expects of the system."""

MAX_DECODE_PIXELS = 250_000_000
"""Most pixels OpenCV decodes at all; a second fence behind `corrosion.photo.PhotoLimits`."""


def explain_import_failure(error: ImportError) -> MissingLibraryError:
    """Turn the failure of ``import cv2`` into one line that says what to install.

    Parameters
    ----------
    error : ImportError
        What the import raised.

    Returns
    -------
    MissingLibraryError
        Names the Debian packages for a missing shared object, the wheel otherwise.
    """
    text = " ".join(str(error).split())
    if ".so" in text:
        packages = " ".join(DEBIAN_PACKAGES)
        return MissingLibraryError(
            f"OpenCV cannot be loaded: {text}.",
            remedy=f"On Debian or Ubuntu: apt-get install -y --no-install-recommends {packages}",
        )
    return MissingLibraryError(
        f"OpenCV cannot be loaded: {text}.",
        remedy="Install it again: pip install --force-reinstall opencv-python (one OpenCV wheel only).",
    )


# OpenCV reads its limit once, when it is loaded. A limit the user has set already stays.
os.environ.setdefault("OPENCV_IO_MAX_IMAGE_PIXELS", str(MAX_DECODE_PIXELS))

if TYPE_CHECKING:
    import cv2
else:
    try:
        import cv2
    except ImportError as failure:
        raise explain_import_failure(failure) from failure
    # A broken picture is reported by our own error; the decoder's log lines would repeat it on stderr.
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)

__all__ = [
    "DEBIAN_PACKAGES",
    "MAX_DECODE_PIXELS",
    "cv2",
    "explain_import_failure",
]
