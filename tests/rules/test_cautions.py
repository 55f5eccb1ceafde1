"""Cautions follow the material; figures as in the sources that each caution names."""

from __future__ import annotations

import pytest

from corrosion.rules import cautions_for, material_families


@pytest.mark.parametrize(
    ("material", "family"),
    [
        ("2024-T3 clad", "aluminium"),
        ("7075-T6", "aluminium"),
        ("AZ31B-H24", "magnesium"),
        ("ZE41A-T5 casting", "magnesium"),
        ("4130 N", "steel"),
        ("17-4 PH", "steel"),
        ("Ti-6Al-4V", "titanium"),
        ("BeCu", "beryllium copper"),
        ("C17200", "beryllium copper"),
        ("steel, cadmium plated", "cadmium"),
    ],
)
def test_materials_are_recognised(material: str, family: str) -> None:
    """Alloys by the names the trade writes (common practice, no source)."""
    assert family in material_families(material)


def said(material: str) -> str:
    """All cautions for a material in one text."""
    return " ".join(f"{caution.title}. {caution.text}" for caution in cautions_for(material))


def test_magnesium_fire_is_smothered_half_an_inch_deep() -> None:
    """Dry talc, calcium carbonate, sand or graphite, 1/2 in (AC 43.13-1B, p. 6-18)."""
    assert "1/2 in" in said("AZ31B")
    assert "graphite" in said("AZ31B")
    assert "1/2 in" not in said("2024-T3")


def test_chromate_limit_on_painted_aluminium() -> None:
    """5 µg/m³, action level 2.5 (29 CFR 1910.1026); removal of paint is not under the painting clause."""
    assert "5 µg/m³, action level 2.5 µg/m³" in said("2024-T3")


def test_cadmium_limit_on_steel() -> None:
    """5 µg/m³ for cadmium (AIHA; NIOSH 2017)."""
    assert "Cadmium plate" in said("4130")


def test_beryllium_copper_is_named() -> None:
    """Its dust is toxic (USAF TO 1-1-700, para 11.11.3.1)."""
    assert "beryllium programme" in said("BeCu")


def test_an_unknown_material_gets_every_caution() -> None:
    """Nobody is spared a caution because a name was not recognised."""
    every = {
        caution.id for m in ("2024", "AZ31B", "4130", "titanium", "BeCu") for caution in cautions_for(m)
    }
    assert {caution.id for caution in cautions_for("unobtainium")} == every


def test_every_caution_has_its_source() -> None:
    """What is from memory says so."""
    for caution in cautions_for("unobtainium"):
        assert caution.source
        if "1910.1024" in caution.source or "1910.1025" in caution.source:
            assert "from memory" in caution.source
