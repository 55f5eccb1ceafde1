"""Taking in pictures: check, keep the original, make its previews, and enter the photo.

The order makes a kill harmless: the original reaches the store first, then one transaction makes it
visible. Before that transaction there is nothing to see; after it everything is there.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import PurePosixPath
from typing import Any, Literal

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from api import repository as repo
from api.database import Database
from api.errors import InvalidError, TooLargeError
from api.files import Derived, Incoming, PictureFiles
from api.photos import Intake, PhotoReader
from api.sealing.rows import refuse_sealed
from api.services import PhotoView, check_photo
from api.tables import PhotoRow, PictureRow, SurveyRow
from corrosion.errors import CorrosionError, StorageError
from corrosion.model import Photo

Status = Literal["stored", "matched", "duplicate", "refused"]

EXTENSIONS = {
    "image/jpeg": ".jpg",
    "image/png": ".png",
    "image/tiff": ".tif",
    "image/webp": ".webp",
    "image/heic": ".heic",
}
NAME_LENGTH = 200
KEY_LENGTH = 60


@dataclass
class TakenFile:
    """What became of one uploaded file."""

    name: str
    status: Status
    sha256: str | None = None
    size_bytes: int = 0
    photo: PhotoView | None = None
    warnings: list[str] = field(default_factory=list)
    error: CorrosionError | None = None


@dataclass
class Prepared:
    """A file whose original is in the store and that can be entered into a survey.

    `name` is as sent, for matching; `shown` is fit for people.
    """

    name: str
    shown: str
    size_bytes: int
    sha256: str | None = None
    facts: Intake | None = None
    error: CorrosionError | None = None


class Uploads:
    """The use cases on pictures."""

    def __init__(self, database: Database, files: PictureFiles, reader: PhotoReader) -> None:
        self._database = database
        self.files = files
        self.reader = reader

    def check_tags(self, survey_id: str, tags: Mapping[str, Any]) -> None:
        """Check tags for an upload before any file is taken.

        Raises
        ------
        NotFoundError
            If there is no such survey.
        SealedError
            If the survey takes no more photos.
        InvalidError
            If a tag breaks the model or names something that does not exist.
        """
        with self._database.reading() as session:
            survey = repo.find(session, SurveyRow, survey_id)
            refuse_sealed(session, survey)
            photo = repo.check(Photo, {"id": "new", "file": "new"} | dict(tags), path="form")
            check_photo(session, survey, photo)

    def prepare(self, incoming: Incoming, name: str) -> Prepared:
        """Check a received file, store its original and copies; nothing is visible yet.

        Many files can be prepared at once. The temporary file is removed in any case.

        Parameters
        ----------
        name : str
            File name as sent; used as data and to match a waiting photo, never as a path.

        Returns
        -------
        Prepared
            Also for a file that is refused; its `error` says why.
        """
        prepared = Prepared(name, clean_name(name), incoming.size)
        try:
            incoming.close()
            facts = self._intake(incoming, prepared.shown)
            prepared.sha256 = incoming.sha256
            self.files.keep(incoming)
            self.files.keep_derived("preview", prepared.sha256, facts.preview)
            self.files.keep_derived("thumbnail", prepared.sha256, facts.thumbnail)
            # The copies are stored; a queue of prepared files need not hold them too.
            prepared.facts = replace(facts, preview=b"", thumbnail=b"")
        except CorrosionError as error:
            prepared.error = error
        finally:
            incoming.discard()
        return prepared

    def enter(
        self, survey_id: str, prepared: Prepared, tags: Mapping[str, Any], *, only_matching: bool = False
    ) -> TakenFile:
        """Make a prepared file visible in a survey, in one transaction.

        Parameters
        ----------
        tags : mapping
            Fields of `corrosion.model.Photo` for a new photo.
        only_matching : bool
            Refuse a picture that no photo of the survey waits for, instead of adding a photo.
        """
        done = TakenFile(prepared.shown, "stored", prepared.sha256, prepared.size_bytes)
        try:
            if prepared.error is not None or prepared.facts is None:
                raise prepared.error or StorageError("the file was not read.", place=prepared.shown)
            done.warnings.extend(prepared.facts.warnings)
            done.photo = self._enter(survey_id, prepared.facts, prepared.name, tags, done, only_matching)
        except CorrosionError as error:
            done.status, done.error = "refused", error
        return done

    def derived(self, kind: Derived, sha256: str) -> bytes:
        """Return a copy made from an original; make it again if the store has lost it.

        Raises
        ------
        StorageError
            If the original is not there.
        """
        kept = self.files.derived(kind, sha256)
        if kept is not None:
            return kept
        source = self.files.read(sha256)
        if kind == "picture":
            data = self.reader.picture(source, f"picture {sha256}")
        else:
            facts = self.reader.intake(source, f"picture {sha256}")
            data = facts.preview if kind == "preview" else facts.thumbnail
        self.files.keep_derived(kind, sha256, data)
        return data

    def _intake(self, incoming: Incoming, name: str) -> Intake:
        if incoming.too_large:
            raise TooLargeError(
                f"the file has {incoming.size} bytes, more than {incoming.limit}.",
                place=name,
                remedy="Save it smaller, or raise CORROSION_MAX_FILE_BYTES.",
            )
        return self.reader.intake(incoming.path, name)

    def _enter(
        self,
        survey_id: str,
        facts: Intake,
        name: str,
        tags: Mapping[str, Any],
        done: TakenFile,
        only_matching: bool,
    ) -> PhotoView:
        with self._database.writing() as session:
            survey = repo.lock_survey(session, survey_id)
            picture = keep_facts(session, str(done.sha256), done.size_bytes, facts)
            row = _match(session, survey_id, picture.sha256, name, done)
            if row is None and only_matching:
                raise InvalidError(
                    "no photo of the survey file has this name or hash.",
                    place=done.name,
                    remedy="Check the survey file, or upload the picture as a new photo.",
                )
            if row is None:
                row = _add_photo(session, survey, picture, done.name, tags)
            elif done.status == "matched":
                _bind(row, picture, done)
            session.flush()
        return PhotoView(row, picture)


def _match(session: Session, survey_id: str, sha256: str, name: str, done: TakenFile) -> PhotoRow | None:
    """Find the photo these bytes are already, or the one that waits for them; set the status."""
    same = (
        select(PhotoRow)
        .where(repo.stands_in(PhotoRow, survey_id), PhotoRow.picture_sha256 == sha256)
        .order_by(PhotoRow.position)
    )
    waiting = (
        select(PhotoRow)
        .where(repo.stands_in(PhotoRow, survey_id), PhotoRow.picture_sha256.is_(None))
        .order_by(PhotoRow.position)
    )
    rows = list(session.scalars(waiting))
    by_hash = [row for row in rows if row.document["sha256"] == sha256]
    # Two photos of the file may show the same picture; the first binds here, all of them below.
    matched = by_hash or _by_name(rows, name, done)
    if matched:
        done.status = "matched"
        for other in by_hash[1:]:
            other.picture_sha256 = sha256
        return matched[0]
    found = session.scalars(same).first()
    if found is not None:
        done.status = "duplicate"
    return found


def clean_name(name: str) -> str:
    """Return the last step of a file name, printable and short. It is only ever shown."""
    last = re.split(r"[/\\]", name)[-1]
    printable = "".join(c for c in last if c.isprintable()).strip()
    return printable[-NAME_LENGTH:] or "photo"


def _by_name(rows: list[PhotoRow], name: str, done: TakenFile) -> list[PhotoRow]:
    """Find the photo that waits for a file of this name and has no hash to check it by."""
    exact = [row for row in rows if row.document["file"] == name]
    last = clean_name(name)
    named = exact or [row for row in rows if PurePosixPath(row.document["file"]).name == last]
    free = [row for row in named if row.document["sha256"] is None]
    if len(free) == 1:
        return free
    if len(free) > 1:
        keys = ", ".join(repr(row.key) for row in free)
        done.warnings.append(f"Photos {keys} all wait for a file of this name; state their sha256.")
    elif named:
        done.warnings.append(
            f"Photo {named[0].key!r} waits for a file of this name, but with another hash: this is "
            "another picture, or a changed copy."
        )
    return []


def keep_facts(session: Session, sha256: str, size: int, facts: Intake) -> PictureRow:
    """Return the row of a picture whose bytes are stored; enter it if it is the first time."""
    picture = session.get(PictureRow, sha256)
    if picture is not None:
        return picture
    width, height = facts.size_px
    picture = PictureRow(
        sha256=sha256,
        size_bytes=size,
        media_type=facts.media_type,
        width=width,
        height=height,
        facts=facts.facts,
    )
    try:
        with session.begin_nested():
            session.add(picture)
    except IntegrityError:
        # Another survey entered the same picture at this moment; its row says the same.
        return session.get_one(PictureRow, sha256)
    return picture


def _add_photo(
    session: Session, survey: SurveyRow, picture: PictureRow, name: str, tags: Mapping[str, Any]
) -> PhotoRow:
    key = _free_key(session, survey.id, name)
    extension = EXTENSIONS.get(picture.media_type, "")
    document = {
        "id": key,
        "file": f"photos/{key}{extension}",
        "sha256": picture.sha256,
        "size": (picture.width, picture.height),
        "taken": str(picture.facts.get("taken") or ""),
    }
    photo = repo.check(Photo, document | dict(tags), path="form")
    check_photo(session, survey, photo)
    return repo.add_part(
        session, PhotoRow, survey.id, photo, picture_sha256=picture.sha256, upload_name=name
    )


def _bind(row: PhotoRow, picture: PictureRow, done: TakenFile) -> None:
    row.picture_sha256 = picture.sha256
    row.upload_name = done.name
    stated = row.document["size"]
    if stated is not None and tuple(stated) != (picture.width, picture.height):
        done.warnings.append(
            f"The survey file says {stated[0]} x {stated[1]} px, the picture has {picture.width} x "
            f"{picture.height} px: its marks may be out of place."
        )


def _free_key(session: Session, survey_id: str, name: str) -> str:
    """Make a photo id of the file name that is free in the survey and fit for a file name anywhere."""
    stem = PurePosixPath(name).stem if "." in name else name
    safe = re.sub(r"[^\w.-]+", "-", stem).strip("-._")[:KEY_LENGTH] or "photo"
    taken = set(session.scalars(select(PhotoRow.key).where(repo.stands_in(PhotoRow, survey_id))))
    key, number = safe, 1
    while key in taken:
        number += 1
        key = f"{safe}-{number}"
    return key
