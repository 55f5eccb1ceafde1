"""Verify a whole store: the history, every row against it, every original against its hash. Reads only."""

from __future__ import annotations

from sqlalchemy.exc import SQLAlchemyError

from api.database import Database
from api.files import PictureFiles
from api.history.faults import StoreReport
from api.history.verify_chain import verify_chain
from api.history.verify_files import verify_files
from api.history.verify_rows import verify_rows
from corrosion.errors import StorageError
from corrosion.intake import Progress


def verify_store(
    database: Database, files: PictureFiles, *, noted: str = "", progress: Progress | None = None
) -> StoreReport:
    """Look for anything that was changed past the program. The service may run meanwhile.

    Whoever can write to the database can also write a whole new chain. Only a head noted elsewhere
    (`noted`) shows that: on paper, in a sealed record, on another machine.

    Parameters
    ----------
    noted : str
        Hash of the last line as noted elsewhere earlier.
    progress : callable, optional
        Called with the step, what is done of it and how much there is.

    Raises
    ------
    StorageError
        If the database cannot be read at all, or is not of this program's version.
    """
    report, tell = StoreReport(), progress or (lambda _step, _done, _total: None)
    database.check_version()
    try:
        with database.one_moment() as session:
            verify_chain(session, report, noted, tell)
            verify_rows(session, report, tell)
            verify_files(session, files, report, tell)
    except SQLAlchemyError as error:
        raise StorageError(
            f"the database cannot be read to its end ({type(error).__name__}: {error}).",
            remedy="It is damaged; restore it from a backup beside this one and verify that.",
        ) from error
    return report
