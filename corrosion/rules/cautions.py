"""Cautions for whoever removes the corrosion, by the member's material."""

from __future__ import annotations

import json
import re
import tomllib
from functools import cache
from importlib import resources

from pydantic import Field

from corrosion.model.base import Part
from corrosion.model.planning import Label, SourceText


class Caution(Part):
    """One caution; without `families` it is for every material."""

    id: Label
    families: list[Label] = Field(default_factory=list)
    title: Label
    text: SourceText
    source: SourceText


class _Family(Part):
    name: Label
    pattern: SourceText


class _Table(Part):
    families: list[_Family] = Field(alias="family")
    cautions: list[Caution] = Field(alias="caution")


@cache
def _table() -> _Table:
    file = resources.files("corrosion.rules") / "data" / "cautions.toml"
    document = tomllib.loads(file.read_text(encoding="utf-8"))
    return _Table.model_validate_json(json.dumps(document), strict=True)


def material_families(material: str) -> frozenset[str]:
    """Families of materials that a material's name speaks of; empty where it is not recognised."""
    text = material.casefold()
    return frozenset(family.name for family in _table().families if re.search(family.pattern, text))


def cautions_for(material: str) -> list[Caution]:
    """Cautions for a material; every one there is for a material that is not recognised."""
    families = material_families(material)
    return [
        caution
        for caution in _table().cautions
        if not families or not caution.families or families & set(caution.families)
    ]
