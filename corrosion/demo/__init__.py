"""The demonstration: a made-up survey with rendered pictures, compared with what was rendered."""

from __future__ import annotations

import json
import statistics
from dataclasses import dataclass
from importlib import resources
from pathlib import Path, PurePosixPath
from typing import Any

import corrosion
from corrosion.errors import SurveyFileError
from corrosion.quantity import Measured
from corrosion.results import Assessment, PhotoMeasures
from corrosion.terms import MarkKind

SURVEY_NAME = "survey.json"


@dataclass(frozen=True)
class AreaComparison:
    """Measured areas of one kind of mark against the rendered truth.

    Attributes
    ----------
    kind : MarkKind
        What was compared.
    errors : list of float
        (measured - true) / true of each mark.
    inside : int
        How many lie within their expanded uncertainty U (k = 2) of the truth.
    """

    kind: MarkKind
    errors: list[float]
    inside: int

    @property
    def count(self) -> int:
        """Number of marks compared."""
        return len(self.errors)

    @property
    def median(self) -> float:
        """Median of the relative errors' size."""
        return statistics.median(abs(error) for error in self.errors)

    @property
    def largest(self) -> float:
        """Largest relative error's size."""
        return max(abs(error) for error in self.errors)


def sample_folder() -> Path:
    """Folder of the demonstration survey: in the installed package, or beside it in a checkout.

    Raises
    ------
    SurveyFileError
        If neither is there.
    """
    packed = Path(str(resources.files(__name__))) / "sample_images"
    beside = Path(corrosion.__file__).resolve().parents[1] / "sample_images"
    for folder in (packed, beside):
        if (folder / SURVEY_NAME).is_file():
            return folder
    raise SurveyFileError(
        "the demonstration survey is not part of this installation.",
        place="corrosion demo",
        remedy="Install the project again from its wheel or its repository.",
    )


def compare_areas(assessment: Assessment, folder: Path) -> list[AreaComparison]:
    """Compare measured areas with the truth the pictures were rendered from.

    Marks that the picture cuts off, or that the scale reference covers in part, are left out: their
    true visible area is not on file. A mark without an honest uncertainty counts, but never as inside.

    Parameters
    ----------
    assessment : Assessment
        Of the demonstration survey.
    folder : Path
        The demonstration's folder, with ``truth/NAME.json`` for ``photos/NAME.jpg``.
    """
    files = {photo.id: photo.file for photo in assessment.survey.photos}
    pairs: dict[MarkKind, list[tuple[Measured, float]]] = {}
    for photo in assessment.photos:
        truth = _true_areas(folder / "truth" / f"{PurePosixPath(files[photo.photo_id]).stem}.json")
        for kind, area, true in _paired(photo, truth):
            pairs.setdefault(kind, []).append((area, true))
    return [
        AreaComparison(
            kind,
            [(area.value - true) / true for area, true in listed],
            sum(area.known and abs(area.value - true) <= area.expanded for area, true in listed),
        )
        for kind, listed in pairs.items()
    ]


def _paired(photo: PhotoMeasures, truth: dict[str, float]) -> list[tuple[MarkKind, Measured, float]]:
    return [
        (mark.mark.kind, mark.quantities["area"], truth[mark.mark.id])
        for mark in photo.marks
        if "area" in mark.quantities and mark.mark.id in truth
    ]


def _true_areas(path: Path) -> dict[str, float]:
    """Areas, mm2, of the dents that lie whole in the picture; empty if there is no truth for it."""
    if not path.is_file():
        return {}
    document: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return {
        str(dent["id"]): float(dent["area_mm2"])
        for dent in document.get("dents", [])
        if dent["share_in_picture"] >= 1.0 and dent["share_covered"] <= 0.0
    }
