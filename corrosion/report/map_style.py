"""Looks of the map: colours that survive colour blindness and a grey printer, and hatching beside them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from matplotlib import colormaps
from matplotlib.colors import Colormap, LinearSegmentedColormap

from corrosion.terms import Verdict

MapMode = Literal["share", "margin"]

INK = "#1b1b1b"
QUIET = "#6b6b6b"
METAL = "#f4f3ef"
PAPER = "#ffffff"
PHOTO = "#3f6fa8"
# Vermilion of the Okabe-Ito palette (2008), told from every colour of cividis by all common forms of
# colour blindness (from memory).
OVER_FILL = "#d55e00"
NO_LIMIT_FILL = "#c9c9c9"

VERDICT_COLOUR: dict[Verdict, str] = {
    Verdict.WITHIN: "#00664f",
    Verdict.TOO_CLOSE: "#7a5c00",
    Verdict.OVER: "#b03a00",
    Verdict.NOT_DETERMINED: "#4d4d4d",
}
"""Fill of the verdict's badge; white letters on each have a contrast of more than 5 : 1."""

HATCH_OVER = "xxx"
HATCH_CLOSE = "ooo"
HATCH_NO_LIMIT = "++"
HATCH_UNSEEN_OUTER = "//"
HATCH_UNSEEN_INNER = "\\\\"


@dataclass(frozen=True)
class MapStyle:
    """How a map is drawn.

    Attributes
    ----------
    mode : str
        ``share``: what is gone as a share of the limit. ``margin``: how much may still come off.
    width_in : float
        Width of the page, inches; the default is the text width of an A4 page.
    text_pt : float
        Size of the plain text, points.
    dpi : float
        Resolution of a PNG.
    details : int
        Most close-ups per member.
    photos : bool
        Draw the footprints of the photos.
    """

    mode: MapMode = "share"
    width_in: float = 7.2
    text_pt: float = 8.5
    dpi: float = 220.0
    details: int = 6
    photos: bool = True


def colour_map(mode: MapMode) -> Colormap:
    """Colours from 0 to 1: light for little removed, or for much margin; dark for the other end.

    Cividis is perceptually uniform and reads the same with and without colour-vision deficiency
    (Nunez, Anderton and Renslow 2018). Its darkest end is left out, so that black outlines stay visible.
    """
    cividis = colormaps["cividis"]
    stops = [cividis(0.12 + 0.88 * k / 63)[:3] for k in range(64)]
    if mode == "margin":
        # The whole member is coloured here: paler, so that lines and names stay on top.
        return LinearSegmentedColormap.from_list(mode, [[0.65 * c + 0.35 for c in stop] for stop in stops])
    return LinearSegmentedColormap.from_list(mode, stops[::-1])
