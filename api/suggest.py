"""What the program finds in a stored picture by itself. It only looks: `api.proposals` keeps it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Literal, TypeVar

import numpy as np

from api.errors import NotFoundError
from api.files import PictureFiles
from api.photos import photo_limits
from api.services import PhotoView, Services
from api.settings import Settings
from corrosion.errors import CorrosionError, MarkError
from corrosion.find import find_reference, found_words
from corrosion.marks import outline_of
from corrosion.model import CardScale, DiscScale, Photo, RuleScale, Scale, TargetScale
from corrosion.model import Settings as SurveySettings
from corrosion.opencv import cv2
from corrosion.photo import Picture, load_picture
from corrosion.quantity import FloatArray
from corrosion.suggest import Suggestion, outline_blend, outline_pit, sweep_pits
from corrosion.target import sheet_named
from corrosion.terms import MarkKind
from corrosion.units import LengthUnit, mm_per

Px = tuple[float, float]
Result = TypeVar("Result")


@dataclass(frozen=True)
class FoundReference:
    """A scale reference as found in its picture.

    Attributes
    ----------
    scale : Scale
        In the survey's unit, with the found points.
    words : str
        What was found.
    points_px : list of (x, y)
        Every found point.
    """

    scale: Scale
    words: str
    points_px: list[Px]


class Finder:
    """Looks for things in stored pictures, on the threads that do photo work."""

    def __init__(
        self, services: Services, files: PictureFiles, settings: Settings, executor: Executor
    ) -> None:
        self._services = services
        self._files = files
        self._executor = executor
        self._limits = photo_limits(settings)

    def reference(self, photo_id: str, scale: Scale) -> FoundReference:
        """Find a rule's ticks, a disc's rim or a target's points, whatever was found before.

        Raises
        ------
        NotFoundError
            If there is no such photo, or its picture is not here.
        ScaleError
            If the reference is not found.
        """
        view = self._services.photo(photo_id)
        place, unit = f"photo {view.row.key}", mm_per(self._units(view))
        found = self._in_picture(
            view, lambda picture: find_reference(picture, unfound(scale), place=place, mm_per_unit=unit)
        )
        return FoundReference(found, found_words(found), found_points(found))

    def outline(self, photo_id: str, kind: Literal["pit", "blend-out"], at: Px) -> Suggestion:
        """Propose the outline of what lies at a point.

        Raises
        ------
        NotFoundError
            If there is no such photo, or its picture is not here.
        MarkError
            If no edge is seen round the point, or it lies outside the picture.
        """
        view = self._services.photo(photo_id)
        method = outline_pit if kind == "pit" else outline_blend
        found = self._in_picture(view, lambda picture: method(picture.pixels, at))
        return self._with_doubt(view, [found])[0]

    def sweep(self, photo_id: str, region: Sequence[Px] | None) -> list[Suggestion]:
        """Propose every pit of the picture or of a region that is not marked yet, best first.

        The scale reference is left out: its letters and lines look like pits to any program.

        Raises
        ------
        NotFoundError
            If there is no such photo, or its picture is not here.
        MarkError
            If the region encloses nothing of the picture.
        """
        view = self._services.photo(photo_id)
        photo = Photo.model_validate(view.row.document)
        known = [*reference_areas(photo.scale, mm_per(self._units(view))), *marked_areas(photo)]
        found = self._in_picture(view, lambda picture: sweep_pits(picture.pixels, region, leave_out=known))
        return self._with_doubt(view, found)

    def _with_doubt(self, view: PhotoView, found: list[Suggestion]) -> list[Suggestion]:
        """Make edges at least as doubtful as the survey says edges are."""
        document = self._services.survey(view.row.survey_id).row.document
        least = SurveySettings.model_validate(document.get("settings") or {}).edge_u_px
        return [replace(one, edge_u_px=max(one.edge_u_px, least)) for one in found]

    def _units(self, view: PhotoView) -> LengthUnit:
        return "in" if self._services.survey(view.row.survey_id).structure.units == "in" else "mm"

    def _in_picture(self, view: PhotoView, look: Callable[[Picture], Result]) -> Result:
        """Decode a photo's original and look at it; no more at a time than there are workers."""
        if view.picture is None:
            raise NotFoundError(
                f"the picture {view.row.document['file']!r} has not been uploaded yet.",
                place=f"photo {view.row.key!r}",
                remedy="Upload it to the survey's photos; it is matched by its hash or file name.",
            )
        sha256, name = view.picture.sha256, view.row.upload_name or view.row.key
        return self._executor.submit(
            lambda: look(load_picture(self._files.read(sha256), name=name, limits=self._limits))
        ).result()


def unfound(scale: Scale) -> Scale:
    """Return a reference as a person stated it, without what an earlier search put there."""
    if isinstance(scale, RuleScale):
        return scale.model_copy(update={"ticks": []})
    if isinstance(scale, DiscScale) and scale.seed is not None:
        # The search also states how sharp the rim is; kept, it would be taken for a person's word.
        return scale.model_copy(update={"image": [], "sigma_px": None, "u_edge_px": None})
    if isinstance(scale, TargetScale):
        return scale.model_copy(update={"image": [], "plane": []})
    return scale


def found_points(scale: Scale) -> list[Px]:
    """List the points a search has put into a reference."""
    if isinstance(scale, RuleScale):
        return [point for tick in scale.ticks for point in tick.points]
    if isinstance(scale, TargetScale) or (isinstance(scale, DiscScale) and scale.seed is not None):
        return list(scale.image)
    return []


def marked_areas(photo: Photo) -> list[FloatArray]:
    """Outlines of the pits that are marked already, px; one that encloses nothing is no area."""
    areas = []
    for mark in photo.marks:
        try:
            outline = outline_of(mark, SurveySettings(), None, f"mark {mark.id}")
        except MarkError:
            continue
        if mark.kind is MarkKind.PIT and outline.rings:
            areas.append(outline.points_px[outline.rings[0]])
    return areas


def reference_areas(scale: Scale | None, mm_per_unit: float) -> list[FloatArray]:
    """Parts of the picture that a scale reference covers, px; a sheet's window is not covered."""
    if isinstance(scale, CardScale):
        points = scale.image or [point for edge in scale.edges or () for point in edge]
        return [_hull(points)]
    if isinstance(scale, DiscScale) and len(scale.image) >= 3:
        return [_hull(scale.image)]
    if isinstance(scale, RuleScale):
        points = [point for tick in scale.ticks for point in tick.points]
        return [_hull(points)] if len(points) >= 3 else []
    if isinstance(scale, TargetScale) and len(scale.image) >= 4:
        return _target_areas(scale, mm_per_unit)
    return []


def _target_areas(scale: TargetScale, mm_per_unit: float) -> list[FloatArray]:
    image = np.array(scale.image, dtype=np.float64)
    if scale.side is not None:
        return [_hull(image[i : i + 4]) for i in range(0, len(image) - 3, 4)]
    try:
        sheet = sheet_named(scale.sheet or "")
    except CorrosionError:
        return [_hull(image)]
    matrix, _ = cv2.findHomography(np.array(scale.plane, dtype=np.float64) * mm_per_unit, image, 0)
    outer = _corners(sheet.size)
    if sheet.window is None:
        strips = [outer]
    else:
        inner = _corners(sheet.window)
        strips = [np.array([outer[i], outer[(i + 1) % 4], inner[(i + 1) % 4], inner[i]]) for i in range(4)]
    return [cv2.perspectiveTransform(strip[None], matrix)[0].astype(np.float64) for strip in strips]


def _corners(size: tuple[float, float]) -> FloatArray:
    x, y = size[0] / 2.0, size[1] / 2.0
    return np.array([[-x, -y], [x, -y], [x, y], [-x, y]])


def _hull(points: Sequence[Px] | FloatArray) -> FloatArray:
    flat = np.asarray(points, dtype=np.float32).reshape(-1, 1, 2)
    return np.asarray(cv2.convexHull(flat).reshape(-1, 2), dtype=np.float64)
