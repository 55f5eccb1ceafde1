"""Sizes of things that serve as scale references.

Sources: coins, United States Mint, "Coin Specifications", and European Commission, summary of Regulation
(EC) No 975/98 with Council Regulation (EU) No 729/2014 (diameters of 50 cent, 1 and 2 euro). ISO/IEC
7810 ID-1, nominal 85.60 x 53.98 mm with limits 85.47 to 85.72 and 53.92 to 54.03 mm: from memory.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from corrosion.measure import measure_photo
from corrosion.model import ID1_SIZE_MM
from tests.metrology.pinhole import Pinhole, pairs, survey_of

# Name, diameter and thickness in mm.
COINS = [
    ("cent (US)", 19.05, 1.52),
    ("nickel (US)", 21.21, 1.95),
    ("dime (US)", 17.91, 1.35),
    ("quarter (US)", 24.26, 1.75),
    ("50 cent (euro)", 24.25, 2.38),
    ("1 euro", 23.25, 2.33),
    ("2 euro", 25.75, 2.20),
]


def test_card_is_within_the_standard_limits() -> None:
    """The card taken for granted is ID-1: within the limits of ISO/IEC 7810 (from memory)."""
    width, height = ID1_SIZE_MM
    assert 85.47 <= width <= 85.72
    assert 53.92 <= height <= 54.03


@pytest.mark.parametrize(("name", "diameter", "thickness"), COINS)
def test_card_measures_a_coin(name: str, diameter: float, thickness: float) -> None:
    """A coin outlined beside a card comes out at its minted diameter, within its uncertainty.

    The card lies as high as the coin's face, so `thickness` plays no part here.
    """
    camera = Pinhole(tilt=math.radians(20), direction=1.0)
    w, h = ID1_SIZE_MM
    card = np.array([[0, 0], [w, 0], [w, h], [0, h]]) - [w + 5, h / 2]
    t = np.arange(60) * 2 * math.pi / 60
    rim = diameter / 2 * np.column_stack([np.cos(t), np.sin(t)]) + [diameter / 2, 0]
    shape = {"type": "Polygon", "coordinates": [pairs(camera.see(rim))]}
    mark = {"id": name, "kind": "pit", "shape": shape}
    photo, survey = survey_of({"kind": "card", "image": pairs(camera.see(card))}, [mark])
    found = measure_photo(photo, survey).marks[0].quantities["equivalent_diameter"]
    # A 60-gon in a circle has (sin(2 pi / 60) / (2 pi / 60))^(1/2) of its diameter: 0.09 % less.
    assert found.value == pytest.approx(diameter, rel=1e-3)
    assert abs(found.value - diameter) < found.expanded


@pytest.mark.parametrize(("name", "diameter", "thickness"), COINS)
@pytest.mark.parametrize("distance", [60.0, 300.0])
def test_coin_thickness_makes_damage_look_small(
    name: str, diameter: float, thickness: float, distance: float
) -> None:
    """A scale on a coin's face, thickness t nearer at distance Z, reads areas low by about 2 t / Z.

    With the thickness stated as the reference's height the area is right again.
    """
    camera = Pinhole(distance=distance, focal=1200)
    upper = Pinhole(distance=distance - thickness, focal=1200)
    half = min(diameter / 2, 500 * distance / 1200)
    face = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / math.sqrt(2)
    outline = 0.3 * face
    mark = {
        "id": name,
        "kind": "pit",
        "shape": {"type": "Polygon", "coordinates": [pairs(camera.see(outline))]},
    }
    scale = {"kind": "points", "image": pairs(upper.see(face)), "plane": pairs(face), "u_plane": 0.01}
    true = 0.09 * (math.sqrt(2) * half) ** 2

    def area(**more: Any) -> float:
        photo, survey = survey_of(scale | more, [mark], distance=distance)
        return measure_photo(photo, survey).marks[0].quantities["area"].value

    low = area() / true - 1
    assert low == pytest.approx(-2 * thickness / distance, abs=(thickness / distance) ** 2 * 1.01)
    assert area(height=thickness) == pytest.approx(true, rel=1e-9)
