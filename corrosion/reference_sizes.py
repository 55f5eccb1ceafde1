"""Published sizes of things that people lay down as a scale.

Sources: United States Mint, "Coin Specifications" (diameter and thickness); euro coins: European
Commission, summary of Regulation (EC) No 975/98 for 50 cent, 1 and 2 euro, collectors' tables for the
others. ISO/IEC 7810 ID-1 from memory.

The 20 cent euro coin is left out: its rim has seven indentations and is no circle. Fasteners' heads are
left out on purpose: their size comes from a drawing that the user has at hand.
"""

from __future__ import annotations

from dataclasses import dataclass

from corrosion.errors import ScaleError


@dataclass(frozen=True)
class Coin:
    """A coin: minted diameter and thickness, mm, and where they are published."""

    name: str
    diameter_mm: float
    thickness_mm: float
    source: str


_MINT = "United States Mint, Coin Specifications"
_EURO = "European Commission, summary of Regulation (EC) No 975/98"
_TABLES = "collectors' tables of euro coins"

COINS: tuple[Coin, ...] = (
    Coin("US cent", 19.05, 1.52, _MINT),
    Coin("US nickel", 21.21, 1.95, _MINT),
    Coin("US dime", 17.91, 1.35, _MINT),
    Coin("US quarter", 24.26, 1.75, _MINT),
    Coin("US half dollar", 30.61, 2.15, _MINT),
    Coin("US dollar", 26.49, 2.00, _MINT),
    Coin("1 euro cent", 16.25, 1.67, _TABLES),
    Coin("2 euro cent", 18.75, 1.67, _TABLES),
    Coin("5 euro cent", 21.25, 1.67, _TABLES),
    Coin("10 euro cent", 19.75, 1.93, _TABLES),
    Coin("50 euro cent", 24.25, 2.38, _EURO),
    Coin("1 euro", 23.25, 2.33, _EURO),
    Coin("2 euro", 25.75, 2.20, _EURO),
)

COIN_U_MM = 0.1
"""Standard uncertainty of a coin's diameter, mm: minting tolerance and wear (a rule of ours).

Published trials of circles as a scale reach 0.5 to 1 % ("Eccentricity Correction Methods for Circular
Targets in Perspective Projection", abstract); this is about 0.5 % of a coin.
"""

CARD_ID1_MM = (85.60, 53.98, 0.76)
"""ISO/IEC 7810 ID-1 card: width, height and thickness, mm (from memory)."""


def coin_named(name: str, *, place: str = "") -> Coin:
    """Find a coin by its name, whatever the case.

    Raises
    ------
    ScaleError
        If no published size is on file.
    """
    wanted = " ".join(name.lower().split())
    for coin in COINS:
        if coin.name.lower() == wanted:
            return coin
    known = ", ".join(coin.name for coin in COINS)
    raise ScaleError(
        f"there is no published size for a coin named {name!r}.",
        place=place,
        remedy=f"Give its 'diameter' instead, or one of: {known}.",
    )
