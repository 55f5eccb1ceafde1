"""What published practice says of the steps at the bench: abrasives, inspection, protection.

Facts in own words, each with its source. Where no public text was found the card refers to approved data
instead of a figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from corrosion.rules import material_families

_AC = "AC 43.13-1B (1998)"
APPROVED_DATA = "your approved data"
SHOP_PRACTICE = "common practice, no source"


class StepName(StrEnum):
    """A step of a bench card, as it is ticked off."""

    RECORD = "recorded"
    MEASURE = "measured"
    BLEND = "blended"
    FAIR = "faired"
    REMEASURE = "re-measured"
    INSPECT = "inspected"
    TREAT = "treated"
    PRIME = "primed"
    ENTER = "entered"


@dataclass(frozen=True)
class Fact:
    """A sentence and who says so."""

    text: str
    source: str


RECORD = Fact("Record it as found: photo with its scale reference, depths.", f"{_AC}, para 6-113, step a")
LOOK = Fact("Look with a 10x glass and a flashlight.", "TM 1-1520-238-23, para 2.102.4")
INSPECT = Fact(
    "Inspect for corrosion left and for cracks, with a 10x glass and by the method that approved data "
    "name; in critical areas fluorescent penetrant.",
    "NAVAIR 01-1A-509-2 (15 April 2009), p. 4-20",
)
TREAT = Fact("Treat the bare metal as approved data say.", APPROVED_DATA)
TREAT_CLAD = Fact(
    "The blend may go through the cladding: treat as bare core. Treat as approved data say.", APPROVED_DATA
)
PRIME = Fact("Prime and restore the finish as approved data say.", APPROVED_DATA)
PRIME_STEEL = Fact("Prime within 1 hour.", f"{_AC}, para 6-167h")

_NO_TABLE = Fact("No published class at hand for this material: take it from approved data.", APPROVED_DATA)
_ABRASIVES: dict[str, list[Fact]] = {
    "aluminium": [
        Fact(
            "150 grit or finer to blend, progressively finer to 400 grit to finish.",
            f"{_AC}, Table 6-1 and p. 6-28",
        ),
        Fact("No silicon carbide.", f"{_AC}, Table 6-1"),
    ],
    "steel": [Fact("240, then 300, then 400 grit.", f"{_AC}, para 6-167, p. 6-36")],
}
_CLAD = Fact("Clad: sand only minor scratches, with 240 grit or finer.", f"{_AC}, Table 6-1")


def abrasives_for(material: str) -> list[Fact]:
    """Class of abrasives for a material.

    A material that several families fit gets the facts of all; one without a published class is referred
    to approved data.
    """
    families = material_families(material)
    facts = [fact for family, listed in _ABRASIVES.items() if family in families for fact in listed]
    if "aluminium" in families and is_clad(material):
        facts.insert(0, _CLAD)
    return facts or [_NO_TABLE]


def is_clad(material: str) -> bool:
    """Whether a material's name says that it is clad."""
    name = material.casefold()
    return "clad" in name and "unclad" not in name and "bare" not in name


def primer_for(material: str) -> list[Fact]:
    """Say how soon and how a material is primed."""
    steel = [PRIME_STEEL] if "steel" in material_families(material) else []
    return [*steel, PRIME]
