"""The demonstration survey inside a service of its own, ready to open."""

from __future__ import annotations

from pathlib import Path

from api.app import build_context
from api.context import Context
from api.files import Incoming
from api.services import Page
from api.settings import Settings
from corrosion.demo import SURVEY_NAME, sample_folder
from corrosion.errors import StorageError
from corrosion.model import load_survey

_PIECE = 1 << 20


def demo_settings(folder: Path) -> Settings:
    """Return settings of a service that keeps everything in `folder`, and takes any free port."""
    return Settings.from_environment().model_copy(
        update={"data_dir": folder, "database_url": None, "picture_url": None, "port": 0}
    )


def fill(settings: Settings) -> str:
    """Bring the demonstration survey with its photos into the service's store.

    A store that already holds it is left as it is: what somebody tried out in it stays.

    Returns
    -------
    str
        Path of the survey's page, such as ``surveys/7f…``.

    Raises
    ------
    StorageError
        If the store cannot be used or a picture is refused.
    """
    context = build_context(settings)
    try:
        survey_id = _stored(context) or _import(context, sample_folder())
    finally:
        context.close()
    return f"surveys/{survey_id}"


def _stored(context: Context) -> str | None:
    name = load_survey(sample_folder() / SURVEY_NAME).structure.name
    surveys = context.services.surveys(Page(limit=100, offset=0), None)
    for view, photos, waiting in surveys:
        if view.structure.name == name and photos > 0 and waiting == 0:
            return str(view.row.id)
    return None


def _import(context: Context, folder: Path) -> str:
    view = context.exchange.import_file((folder / SURVEY_NAME).read_bytes(), place=SURVEY_NAME)
    survey_id = str(view.row.id)
    for photo in load_survey(folder / SURVEY_NAME).photos:
        taken = context.uploads.enter(
            survey_id, context.uploads.prepare(_received(context, folder / photo.file), photo.file), {}
        )
        if taken.error is not None:
            raise StorageError(str(taken.error), place=photo.file) from taken.error
    return survey_id


def _received(context: Context, path: Path) -> Incoming:
    """Take a file of this machine in the way an upload comes in."""
    incoming = context.files.receive(context.settings.max_file_bytes)
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            incoming.write(piece)
    return incoming
