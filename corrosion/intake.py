"""The photos beside a survey file: there, unchanged, inside the folder, and how large.

Nothing is decoded: the header gives the size, the digest tells whether it is the picture that was marked.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path, PurePosixPath, PureWindowsPath

from corrosion.errors import CorrosionError, PhotoError
from corrosion.model import Photo, SurveyFile
from corrosion.photo import DEFAULT_LIMITS, PhotoLimits, read_header, sha256_of

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
