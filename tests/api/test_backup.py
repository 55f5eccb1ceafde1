"""A backup of a running service is one moment of it, and comes back whole or not at all."""

from __future__ import annotations

import hashlib
import json
import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import text
from typer.testing import CliRunner

from api import backup, backup_database
from api.backup import MANIFEST, POOL, SEAL, UNFINISHED, backup_names, make_backup, open_backup
from api.cli import app
from api.database import Database
from api.photos import PhotoReader
from api.restore import restore_backup
from api.settings import Settings
from api.uploads import Uploads
from corrosion.errors import StorageError
from corrosion.model import parse_survey
from tests.api.history.stores import PHOTOS, Store, behind_the_back, live_through, open_store, whole
from tests.api.samples import new_photo, new_survey, picture, tag, upload
from tests.api.server import running
from tests.api.test_object_store import BUCKET, Server, bucket, keys, server  # noqa: F401 - fixtures

MOMENT_TABLES = (
    "structures",
    "surveys",
    "photos",
    "pictures",
    "removals",
    "readings",
    "proposals",
    "history",
    "accounts",
)


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a small store in which everything has happened once, and return its folder."""
    folder = tmp_path_factory.mktemp("lived")
    made = open_store(settings_of(folder).store_url, folder)
    live_through(made)
    made.database.close()
    return folder


@pytest.fixture
def store(lived: Path, tmp_path: Path) -> Iterator[Store]:
    """Give a copy of it that a test may damage."""
    folder = shutil.copytree(lived, tmp_path / "data")
    made = open_store(settings_of(folder).store_url, folder)
    yield made
    made.database.close()


def add_picture(store: Store, seed: int) -> None:
    """Upload one more picture."""
    uploads = Uploads(store.database, store.files, PhotoReader(max_bytes=10**7, max_megapixels=4))
    with store.database.reading() as session:
        survey = session.scalar(text("SELECT id FROM surveys"))
    incoming = store.files.receive(10**7)
    incoming.write(picture(seed, size=(32, 24)))
    assert uploads.enter(str(survey), uploads.prepare(incoming, "new.jpg"), {}).status == "stored"


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


def settings_of(folder: Path) -> Settings:
    """Name a store on SQLite with its pictures beside it."""
    return Settings(data_dir=folder)


def rows(database: Database) -> dict[str, list[Any]]:
    """Read everything that a store holds."""
    with database.engine.connect() as connection:
        return {
            table: sorted(map(str, connection.execute(text(f"SELECT * FROM {table}"))))  # noqa: S608
            for table in MOMENT_TABLES
        }


def restored_rows(url: str) -> dict[str, list[Any]]:
    """Read everything that a restored store holds."""
    database = Database(url)
    try:
        return rows(database)
    finally:
        database.close()


def test_a_restored_store_is_the_one_backed_up(store: Store, tmp_path: Path) -> None:
    """Every row and every picture come back, the history's end is the one noted, verification is sound."""
    before = rows(store.database)
    made, copied = make_backup(settings_of(store.folder), tmp_path / "backups")
    assert (copied.copied, copied.there, copied.mended) == (PHOTOS, 0, 0)
    shutil.rmtree(store.folder / "pictures")
    report = restore_backup(open_backup(tmp_path / "backups"), settings_of(tmp_path / "new"))
    assert whole(report) == ""
    assert report.files == PHOTOS
    assert report.head is not None
    assert made.manifest.history is not None
    assert report.head.hash == made.manifest.history.hash
    assert restored_rows(settings_of(tmp_path / "new").store_url) == before


def test_only_what_is_new_is_copied(store: Store, tmp_path: Path) -> None:
    """A second backup copies no picture again and leaves the first as it is; each can be restored."""
    folder = tmp_path / "backups"
    first, _ = make_backup(settings_of(store.folder), folder)
    kept = {path: path.stat().st_mtime_ns for path in folder.rglob("*") if path.is_file()}
    add_picture(store, 77)
    second, copied = make_backup(settings_of(store.folder), folder)
    assert (copied.copied, copied.there, copied.mended) == (1, PHOTOS, 0)
    assert {path: path.stat().st_mtime_ns for path in kept} == kept
    assert backup_names(folder) == [first.name, second.name]
    older = restore_backup(open_backup(folder, first.name), settings_of(tmp_path / "older"))
    newer = restore_backup(open_backup(folder), settings_of(tmp_path / "newer"))
    assert [whole(older), whole(newer)] == ["", ""]
    assert [older.files, newer.files] == [PHOTOS, PHOTOS + 1]


def test_a_backup_under_writes_is_one_moment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While clients edit and upload during every step, the copy holds the moment it began, and is sound."""
    monkeypatch.setattr(backup_database, "PAGES", 8)
    settings, edits, stop = settings_of(tmp_path / "data"), [0], threading.Event()
    with running(settings) as client:
        photo = new_photo(client)
        survey = photo["survey_id"]
        for seed in range(1, 4):
            new_photo(client, survey, seed)

        def edit() -> None:
            now = client.get(f"/api/photos/{photo['id']}").json()
            note = {"note": f"edit {edits[0]}"}
            answer = client.patch(f"/api/photos/{photo['id']}", json=note, headers=tag(now["version"]))
            assert answer.status_code == 200, answer.text
            edits[0] += 1

        def keep_editing() -> None:
            # Its own survey: the test counts the edits of the other one.
            with httpx.Client(base_url=client.base_url, timeout=60) as other:
                own = new_survey(other)
                for seed in range(100, 400):
                    if stop.is_set():
                        return
                    upload(other, own, (f"IMG_{seed}.jpg", picture(seed, size=(32, 24))))

        steps: list[str] = []

        def disturb(step: str, _done: int, _total: int) -> None:
            if len(steps) < 12:
                edit()
            steps.append(step)

        writer = threading.Thread(target=keep_editing)
        writer.start()
        try:
            edit()
            made, _ = make_backup(settings, tmp_path / "backups", disturb)
        finally:
            stop.set()
            writer.join(60)
        assert steps.count("database") > 5
        assert edits[0] > 5
    report = restore_backup(made, settings_of(tmp_path / "new"))
    assert whole(report) == ""
    assert made.manifest.lacking == ()
    with running(settings_of(tmp_path / "new")) as client:
        # Edit 0 was before it, edit 1 came with its first step.
        assert client.get(f"/api/photos/{photo['id']}").json()["photo"]["note"] == "edit 0"
        assert parse_survey(client.get(f"/api/surveys/{survey}/file").content)
        assert client.get(photo["picture"]["original"]).content == picture(0)


def _files_of(folder: Path, name: str) -> list[Path]:
    return [path for top in (name, POOL) for path in sorted((folder / top).rglob("*")) if path.is_file()]


def test_any_flipped_byte_is_named_and_nothing_is_restored(store: Store, tmp_path: Path) -> None:
    """A byte changed, cut or a file lost, in whatever file of a backup: it is named, nothing is put in."""
    made, _ = make_backup(settings_of(store.folder), tmp_path / "backups")
    files = _files_of(made.folder, made.name)
    assert len(files) == PHOTOS + 3
    for path in files:
        whole_file = path.read_bytes()
        for at in (0, len(whole_file) // 2, len(whole_file) - 2):
            flipped = whole_file[:at] + bytes([whole_file[at] ^ 1]) + whole_file[at + 1 :]
            _refused(path, flipped, made.folder, tmp_path / "new")
        _refused(path, whole_file[:-1] if path.name != SEAL else b"", made.folder, tmp_path / "new")
        if path.name != SEAL:
            _refused(path, None, made.folder, tmp_path / "new")
        path.write_bytes(whole_file)
    assert whole(restore_backup(open_backup(made.folder), settings_of(tmp_path / "new"))) == ""


def _refused(path: Path, content: bytes | None, folder: Path, new: Path) -> None:
    path.unlink()
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(StorageError) as caught:
        restore_backup(open_backup(folder), settings_of(new))
    named = MANIFEST if path.name == SEAL else path.name
    assert named in str(caught.value)
    assert not new.exists()


def test_a_broken_off_backup_is_none(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Broken off in any step, or killed: nothing new is listed, and the last good one restores."""
    folder = tmp_path / "backups"
    good, _ = make_backup(settings_of(store.folder), folder)

    def break_at(step: str) -> Callable[[str, int, int], None]:
        def tell(now: str, _done: int, _total: int) -> None:
            if now == step:
                raise KeyboardInterrupt

        return tell

    for step in ("database", "pictures"):
        with pytest.raises(KeyboardInterrupt):
            make_backup(settings_of(store.folder), folder, break_at(step))
    with monkeypatch.context() as patched:
        patched.setattr(backup.os, "fsync", _full)
        with pytest.raises(StorageError, match="space"):
            make_backup(settings_of(store.folder), folder)
    assert sorted(path.name for path in folder.iterdir()) == [good.name, POOL]
    # What SIGKILL leaves one step before the end.
    shutil.copytree(folder / good.name, folder / f"{UNFINISHED}abc")
    assert backup_names(folder) == [good.name]
    assert whole(restore_backup(open_backup(folder), settings_of(tmp_path / "new"))) == ""


def _full(_handle: int) -> None:
    raise OSError(28, "No space left on device")


def test_a_store_that_holds_anything_is_not_restored_over(store: Store, tmp_path: Path) -> None:
    """A restore into a folder with whatever in it is refused and names it; what was there stays."""
    made, _ = make_backup(settings_of(store.folder), tmp_path / "backups")
    with pytest.raises(StorageError, match=r"corrosion\.sqlite3.*pictures"):
        restore_backup(made, settings_of(store.folder))
    assert whole(store.verify()) == ""
    other = _made(tmp_path / "other")
    (other / "letter.txt").write_text("kept")
    with pytest.raises(StorageError, match=r"letter\.txt"):
        restore_backup(made, settings_of(other))
    assert [path.name for path in other.iterdir()] == ["letter.txt"]


def test_a_restore_that_breaks_off_leaves_nothing(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that fills up during the restore leaves the folder as empty as it was."""
    made, _ = make_backup(settings_of(store.folder), tmp_path / "backups")
    new = _made(tmp_path / "new")
    with monkeypatch.context() as patched:
        patched.setattr("api.restore.shutil.copyfile", lambda *_: _full(0))
        with pytest.raises(StorageError, match="space"):
            restore_backup(made, settings_of(new))
    assert list(new.iterdir()) == []
    assert whole(restore_backup(made, settings_of(new))) == ""


def test_a_backup_outlives_damage_to_the_store(store: Store, tmp_path: Path) -> None:
    """A picture damaged in the store never replaces the good copy; one never copied is told as lacking."""
    folder = tmp_path / "backups"
    originals = sorted((store.folder / "pictures").glob("sha256/*/*"))
    lost, good = originals[0], originals[1]
    content = lost.read_bytes()
    lost.write_bytes(b"?" * len(content))
    made, copied = make_backup(settings_of(store.folder), folder)
    assert [one.sha256 for one in made.manifest.lacking] == [lost.name]
    assert copied.copied == PHOTOS - 1
    lost.write_bytes(content)
    good_content = good.read_bytes()
    good.write_bytes(b"?")
    second, copied = make_backup(settings_of(store.folder), folder)
    assert (second.manifest.lacking, copied.copied, copied.there) == ((), 1, PHOTOS - 1)
    assert second.picture(good.name).read_bytes() == good_content
    # And what rots in the backup is copied anew while the store still has it.
    second.picture(lost.name).write_bytes(b"??")
    _third, copied = make_backup(settings_of(store.folder), folder)
    assert (copied.copied, copied.there, copied.mended) == (0, PHOTOS - 1, 1)


def test_tampering_before_the_backup_is_told_by_the_restore(store: Store, tmp_path: Path) -> None:
    """A row changed past the program comes back as it was backed up, and the verification names it."""
    with behind_the_back(store.database) as connection:
        connection.execute(text("UPDATE surveys SET name = 'another'"))
    made, _ = make_backup(settings_of(store.folder), tmp_path / "backups")
    report = restore_backup(made, settings_of(tmp_path / "new"))
    assert "another" in whole(report)
    result = CliRunner().invoke(
        app, ["restore", str(tmp_path / "backups"), "--data", str(tmp_path / "newer")]
    )
    assert result.exit_code == 1
    assert "Not sound" in result.output


def test_the_commands_say_what_they_did(store: Store, tmp_path: Path) -> None:
    """Backup, list, check and restore from the command line, each in words a clerk can use."""
    folder, new = str(tmp_path / "backups"), str(tmp_path / "new")

    def run(*arguments: str) -> str:
        result = CliRunner().invoke(app, arguments, catch_exceptions=False)
        assert result.exit_code == 0, result.output
        return result.output

    said = run("backup", folder, "--data", str(store.folder))
    (name,) = backup_names(Path(folder))
    assert f"Backup {name}" in said
    assert f"{PHOTOS} pictures copied" in said
    assert name in run("restore", folder, "--list")
    assert f"all {PHOTOS + 1} files are what they were" in run("restore", folder, "--check")
    said = run("restore", folder, "--backup", name, "--data", new)
    assert "Sound" in said
    assert f"corrosion serve --data {new}" in said
    # The checksums are those that sha256sum reads: a backup can be checked without this program.
    digest, of = (Path(folder) / name / SEAL).read_text().split()
    assert digest == hashlib.sha256((Path(folder) / name / of).read_bytes()).hexdigest()
    assert json.loads((Path(folder) / name / MANIFEST).read_text())["format"] == "corrosion-backup"


@pytest.mark.parametrize("where", ["nowhere", "inside"])
def test_a_backup_of_nothing_or_into_the_store_is_refused(store: Store, tmp_path: Path, where: str) -> None:
    """A store that is not there is not made by backing it up, and no backup lies in what it backs up."""
    source = store.folder if where == "inside" else tmp_path / "nowhere"
    target = store.folder / "backups" if where == "inside" else tmp_path / "backups"
    with pytest.raises(StorageError):
        make_backup(settings_of(source), target)
    assert not target.exists()
    assert not (tmp_path / "nowhere").exists()
    with pytest.raises(StorageError, match="no whole backup"):
        open_backup(target)


def test_old_backups_give_way_and_what_is_kept_restores(store: Store, tmp_path: Path) -> None:
    """The newest stay and restore whole; a damaged one neither counts nor goes; none for one that lacks."""
    folder, settings = tmp_path / "backups", settings_of(tmp_path / "data")
    names = [make_backup(settings, folder)[0].name for _ in range(4)]
    (folder / names[2] / MANIFEST).write_bytes(b"{}")
    run = CliRunner().invoke(app, ["backup", str(folder), "--data", str(settings.data_dir), "--keep", "2"])
    assert run.exit_code == 0, run.output
    newest = backup_names(folder)[-1]
    assert backup_names(folder) == [*names[2:], newest]
    assert [path for path in folder.iterdir() if path.name.startswith(UNFINISHED)] == []
    for number, name in enumerate([names[3], newest]):
        assert restore_backup(open_backup(folder, name), settings_of(tmp_path / f"new-{number}")).sound
    for path in (settings.data_dir / "pictures").rglob("*"):
        if path.is_file():
            path.unlink()
    shutil.rmtree(folder / POOL)
    run = CliRunner().invoke(app, ["backup", str(folder), "--data", str(settings.data_dir), "--keep", "1"])
    assert run.exit_code == 1
    assert {names[3], newest} < set(backup_names(folder))


def test_a_backup_of_a_newer_program_is_refused(store: Store, tmp_path: Path) -> None:
    """Tables of a version this program does not know are not put in place, and the release is named."""
    with behind_the_back(store.database) as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    made, _ = make_backup(settings_of(store.folder), tmp_path / "backups")
    with pytest.raises(StorageError, match=r"9999.*release"):
        restore_backup(made, settings_of(tmp_path / "new"))
    assert not (tmp_path / "new").exists()


def test_ended_sessions_stay_ended(store: Store, tmp_path: Path) -> None:
    """A restore opens no session again that may have been ended since: everybody signs in anew."""
    with store.database.engine.begin() as connection:
        account = connection.scalar(text("SELECT id FROM accounts"))
        columns = {
            "id": "s1", "account_id": account, "secret_hash": "0" * 64, "agent": "", "token_version": 0,
        }  # fmt: skip
        have = {row[1]: row for row in connection.execute(text("PRAGMA table_info(sessions)"))}
        values = {name: columns.get(name, "2031-04-17 12:30:00.000000") for name in have}
        names, marks = ", ".join(values), ", ".join(f":{name}" for name in values)
        connection.execute(text(f"INSERT INTO sessions ({names}) VALUES ({marks})"), values)  # noqa: S608
    made, _ = make_backup(settings_of(store.folder), tmp_path / "backups")
    restore_backup(made, settings_of(tmp_path / "new"))
    new = Database(settings_of(tmp_path / "new").store_url)
    with new.engine.connect() as connection:
        assert connection.scalar(text("SELECT count(*) FROM sessions")) == 0
        assert connection.scalar(text("SELECT count(*) FROM accounts")) == 1
    new.close()


def test_postgresql_and_a_bucket_are_backed_up_and_restored(
    postgresql_server: str,
    server: Server,  # noqa: F811
    bucket: object,  # noqa: F811
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The same with the database on PostgreSQL and the pictures in S3, under writes; never over a store."""
    one, two = (_new_database(postgresql_server, name) for name in ("backup_one", "backup_two"))
    server.bucket("restored")
    common = {"picture_endpoint": server.url}
    source = Settings(data_dir=tmp_path / "data", database_url=one, picture_url=f"s3://{BUCKET}", **common)
    target = Settings(data_dir=tmp_path / "new", database_url=two, picture_url="s3://restored", **common)
    with running(source) as client:
        photo = new_photo(client)

        def disturb(step: str, _done: int, _total: int) -> None:
            new_photo(client, photo["survey_id"], seed=len(steps) + 1)
            steps.append(step)

        steps: list[str] = []
        made, copied = make_backup(source, tmp_path / "backups", disturb)
        assert len(steps) >= 3
    assert copied.copied == len(made.manifest.pictures) >= 1
    with pytest.raises(StorageError, match=r"database: is not empty.*accounts"):
        restore_backup(made, source.model_copy(update={"data_dir": tmp_path / "empty"}))
    with pytest.raises(StorageError, match="is one of postgresql"):
        restore_backup(made, settings_of(tmp_path / "empty"))
    report = restore_backup(made, target)
    assert whole(report) == ""
    assert report.files == copied.copied
    with running(target) as client:
        assert client.get(photo["picture"]["original"]).content == picture(0)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(StorageError, match=r"pg_dump.*client programs"):
        make_backup(source, tmp_path / "backups")


def _new_database(server: str, name: str) -> str:  # noqa: F811
    database = Database(f"{server}/postgres")
    with database.engine.execution_options(isolation_level="AUTOCOMMIT").connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    database.close()
    return f"{server}/{name}"
