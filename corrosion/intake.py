"""The photos beside a survey file: there, unchanged, inside the folder, how large, and their scale.

For checking nothing is decoded: the header gives the size, the digest tells whether it is the picture that
was marked. Only a scale reference that is still to be found needs the pixels.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Literal

from corrosion.errors import CorrosionError, PhotoError
from corrosion.find import find_reference, found_words, needs_finding
from corrosion.model import Photo, SurveyFile
from corrosion.photo import DEFAULT_LIMITS, PhotoLimits, load_picture, read_header, sha256_of
from corrosion.units import mm_per

Progress = Callable[[str, int, int], None]
Sizes = dict[str, tuple[int, int]]


def photo_sizes(
    survey: SurveyFile,
    folder: Path,
    *,
    limits: PhotoLimits = DEFAULT_LIMITS,
    progress: Progress | None = None,
) -> tuple[Sizes, list[str]]:
    """Check every photo a survey names and read its upright size.

    Parameters
    ----------
    survey : SurveyFile
        Its photos' `file` is relative to `folder`.
    folder : Path
        Folder of the survey file.
    limits : PhotoLimits
        How much one photo may cost.
    progress : callable, optional
        Called with ``"pictures"``, done and total.

    Returns
    -------
    sizes : dict of photo id to (width, height)
        Upright size in px of every photo that can be used.
    problems : list of str
        One line per photo that is missing, outside the folder, refused, altered since it was marked, or
        of another size than the survey file states.
    """
    sizes: Sizes = {}
    problems: list[str] = []
    for number, photo in enumerate(survey.photos):
        if progress:
            progress("pictures", number, len(survey.photos))
        try:
            sizes[photo.id] = checked_size(photo, folder, limits=limits)
        except CorrosionError as error:
            problems.append(str(error))
    if progress:
        progress("pictures", len(survey.photos), len(survey.photos))
    return sizes, problems


def checked_size(photo: Photo, folder: Path, *, limits: PhotoLimits = DEFAULT_LIMITS) -> tuple[int, int]:
    """Check one photo and read its upright size, px.

    Raises
    ------
    PhotoError
        If the photo is missing, lies outside `folder`, is not the picture that was marked, or has
        another size than the survey file states.
    PhotoRefusedError
        If its header is refused.
    """
    place = f"photo {photo.id!r}"
    try:
        path = photo_path(photo, folder)
        size = read_header(path, limits=limits).size_px
        if photo.sha256 is not None and sha256_of(path) != photo.sha256:
            raise PhotoError(
                "this is not the picture that was marked: its SHA-256 is not the survey file's.",
                place=photo.file,
                remedy="Put the original back, or mark this picture anew.",
            )
    except CorrosionError as error:
        raise error.at(place) from error
    if photo.size is not None and tuple(photo.size) != size:
        raise PhotoError(
            f"the upright picture has {size[0]} x {size[1]} px, "
            f"the survey file says {photo.size[0]} x {photo.size[1]} px.",
            place=f"{place}, {photo.file}",
            remedy="Put back the picture that was marked, in its full size.",
        )
    return size


@dataclass(frozen=True)
class FoundReferences:
    """A survey with its scale references found.

    Attributes
    ----------
    survey : SurveyFile
        The same survey, in its own unit, with the found points filled in.
    found : list of str
        One line per reference that was found.
    missed : list of str
        One line per reference that was not, with the reason.
    """

    survey: SurveyFile
    found: list[str]
    missed: list[str]


def with_found_references(
    survey: SurveyFile,
    folder: Path,
    *,
    limits: PhotoLimits = DEFAULT_LIMITS,
    progress: Progress | None = None,
) -> FoundReferences:
    """Find the targets, discs and rules whose points are not in the survey yet.

    Parameters
    ----------
    survey : SurveyFile
        In its own unit.
    folder : Path
        Folder of the survey file.
    limits : PhotoLimits
        How much one photo may cost.
    progress : callable, optional
        Called with ``"references"``, done and total.
    """
    waiting = [photo for photo in survey.photos if needs_finding(photo.scale)]
    filled: dict[str, Photo] = {}
    found, missed = [], []
    for number, photo in enumerate(waiting):
        if progress:
            progress("references", number, len(waiting))
        try:
            filled[photo.id] = with_found_reference(photo, folder, survey.units, limits=limits)
        except CorrosionError as error:
            missed.append(str(error))
        else:
            scale = filled[photo.id].scale
            found.append(f"photo {photo.id}: found {'' if scale is None else found_words(scale)}.")
    if progress and waiting:
        progress("references", len(waiting), len(waiting))
    photos = [filled.get(photo.id, photo) for photo in survey.photos]
    return FoundReferences(survey.model_copy(update={"photos": photos}), found, missed)


def with_found_reference(
    photo: Photo, folder: Path, units: Literal["mm", "in"], *, limits: PhotoLimits = DEFAULT_LIMITS
) -> Photo:
    """Find the scale reference of one photo in its picture.

    Raises
    ------
    PhotoError
        See `checked_size`.
    ScaleError
        If the reference is not found.
    """
    if photo.scale is None or not needs_finding(photo.scale):
        return photo
    checked_size(photo, folder, limits=limits)
    picture = load_picture(photo_path(photo, folder), name=photo.file, limits=limits)
    scale = find_reference(picture, photo.scale, place=f"photo {photo.id}", mm_per_unit=mm_per(units))
    return photo.model_copy(update={"scale": scale})


def photo_path(photo: Photo, folder: Path) -> Path:
    """Path of a photo's file, which may not leave the survey's folder.

    Raises
    ------
    PhotoError
        If the name is absolute, climbs out with ``..`` or a link, or names no file.
    """
    names = (PurePosixPath(photo.file), PureWindowsPath(photo.file))
    climbs = any(name.is_absolute() or name.drive or ".." in name.parts for name in names)
    root = folder.resolve()
    path = root / photo.file
    if climbs or "\0" in photo.file or not path.resolve().is_relative_to(root):
        raise PhotoError(
            "the file lies outside the survey's folder.",
            place=repr(photo.file),
            remedy="Put the photo beside the survey file and name it by its relative path.",
        )
    if not path.is_file():
        raise PhotoError(
            "the file is missing.", place=photo.file, remedy=f"Expected it in {str(folder)!r}."
        )
    return path
