"""Old backups give way to new ones: their copies of the database go, the pictures stay.

A store never deletes a picture, so every later backup holds the pictures of the earlier ones too, and
nothing would be gained by looking for some that none holds.
"""

from __future__ import annotations

import shutil
from pathlib import Path

from api.backup import UNFINISHED, backup_names, open_backup, sync_folder
from corrosion.errors import StorageError


def prune_backups(folder: Path, keep: int) -> list[str]:
    """Remove all but the newest `keep` backups that can be read, and return the names of the removed.

    One whose manifest was damaged does not count as kept and is not removed: someone has to look at it.

    Raises
    ------
    StorageError
        If there is no backup, or one cannot be removed.
    """
    whole = [name for name in backup_names(folder) if _readable(folder, name)]
    removed = whole[:-keep]
    for name in removed:
        # A name that no longer counts as a backup first, so that none is ever there in part.
        leaving = folder / f"{UNFINISHED}{name}"
        try:
            (folder / name).rename(leaving)
            sync_folder(folder)
            shutil.rmtree(leaving)
        except OSError as error:
            raise StorageError(
                f"cannot be removed ({error.strerror}).",
                place=str(folder / name),
                remedy="The new backup is whole; remove the old one by hand.",
            ) from error
    return removed


def _readable(folder: Path, name: str) -> bool:
    try:
        open_backup(folder, name)
    except StorageError:
        return False
    return True
