"""What the program finds in a stored picture by itself. Nothing here is stored: a person decides."""

from __future__ import annotations

from dataclasses import dataclass

from api.errors import NotFoundError
from api.files import PictureFiles
from api.services import PhotoView, Services
from api.settings import Settings
from corrosion.find import find_reference, found_words
from corrosion.model import DiscScale, RuleScale, Scale, TargetScale
from corrosion.photo import PhotoLimits, Picture, load_picture
from corrosion.units import LengthUnit, mm_per

Px = tuple[float, float]


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
    """Looks for things in stored pictures."""

    def __init__(self, services: Services, files: PictureFiles, settings: Settings) -> None:
        self._services = services
        self._files = files
        self._limits = PhotoLimits(
            max_pixels=round(settings.max_megapixels * 1e6), max_bytes=settings.max_file_bytes
        )

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
        units: LengthUnit = (
            "in" if self._services.survey(view.row.survey_id).structure.units == "in" else "mm"
        )
        picture = self.picture(view)
        place = f"photo {view.row.key}"
        found = find_reference(picture, unfound(scale), place=place, mm_per_unit=mm_per(units))
        return FoundReference(found, found_words(found), found_points(found))

    def picture(self, view: PhotoView) -> Picture:
        """Decode a photo's original; `NotFoundError` if it is not here."""
        if view.picture is None:
            raise NotFoundError(
                f"the picture {view.row.document['file']!r} has not been uploaded yet.",
                place=f"photo {view.row.key!r}",
                remedy="Upload it to the survey's photos; it is matched by its hash or file name.",
            )
        source = self._files.read(view.picture.sha256)
        return load_picture(source, name=view.row.upload_name or view.row.key, limits=self._limits)


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
