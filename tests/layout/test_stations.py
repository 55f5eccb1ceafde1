"""Stations as written, on the layout."""

from __future__ import annotations

import pytest

from corrosion.errors import UnitsError
from corrosion.layout import station_mm
from corrosion.model import Plug, Structure
from corrosion.terms import Flag

STRUCTURE = Structure(
    name="bench", plugs=[Plug(station="340B", at=8900.0), Plug(station="340A", at=8700.0)]
)


@pytest.mark.parametrize(
    ("station", "unit", "expected"),
    [(412.0, 1.0, 412.0), (-12.5, 1.0, -12.5), ("412", 25.4, 412 * 25.4), (16.0, 25.4, 406.4)],
)
def test_plain_stations_are_in_the_file_s_unit(station: float | str, unit: float, expected: float) -> None:
    """A plain station, negative too, is its number in the file's unit; 16 in are 406.4 mm."""
    assert station_mm(station, STRUCTURE, unit) == (pytest.approx(expected, rel=1e-12), frozenset())


@pytest.mark.parametrize(
    ("station", "expected"),
    [
        ("340B+10.25", 8900.0 + 10.25 * 25.4),
        ("340B", 8900.0),
        ("340A + 1", 8725.4),
        ("340B-2", 8900.0 - 50.8),
    ],
)
def test_a_plug_s_stations_count_from_its_origin(station: str, expected: float) -> None:
    """FS 340B+10.25 (in the trade's manner of writing) lies 10.25 in aft of where plug 340B begins."""
    assert station_mm(station, STRUCTURE, 25.4) == (pytest.approx(expected, rel=1e-12), frozenset())


@pytest.mark.parametrize(
    ("station", "number"), [("340C+10.25", 350.25), ("341B+10.25", 351.25), ("34B", 34), ("340BC+1", 341)]
)
def test_an_unknown_plug_is_flagged(station: str, number: float) -> None:
    """A plug the table lacks counts as unplugged and says so."""
    assert station_mm(station, STRUCTURE, 1.0) == (pytest.approx(number), {Flag.PLUG_UNKNOWN})


@pytest.mark.parametrize("station", ["", "aft", "340B++1", "1e5", "340BCD"])
def test_text_that_is_no_station_is_refused(station: str) -> None:
    """What cannot be read is not guessed; the message shows it."""
    with pytest.raises(UnitsError, match="cannot be read"):
        station_mm(station, STRUCTURE, 1.0)
