"""``corrosion reindex``: bring the search index up to date, or make it anew."""
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.console import make_console, progress
from corrosion.report.words import clean


def register(app: typer.Typer, epilog: str) -> None:
    """Add the command to the command line."""
    app.command(epilog=epilog)(reindex)


def reindex(
    data: Annotated[
        Path | None,
        typer.Option(
            "--data", metavar="DIR", help="Folder of the service's data, as in 'corrosion serve'."
        ),
    ] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="Also what is up to date: make the whole index anew.")
    ] = False,
) -> None:
    """Index what changed since it was last indexed, so that searches find it at once."""
    from api.app import open_database
    from api.exchange import Exchange
    from api.results import Results
    from api.search.indexer import Indexer
    from api.settings import Settings

    settings = Settings.from_environment()
    if data is not None:
        settings = settings.model_copy(update={"data_dir": data})
    database = open_database(settings)
    try:
        exchange = Exchange(database)
        indexer = Indexer(database, exchange, Results(database, exchange))
        if everything:
            indexer.forget()
        waiting = indexer.waiting()
        with progress() as report:
            unfinished = indexer.index_all(report)
    finally:
        database.close()
    console = make_console()
    console.print(f"Surveys and structures indexed: {waiting}.")
    for one in unfinished:
        words = f"Without its findings: {one.name or 'survey without a name'}: {one.problem}"
        console.print(clean(words), soft_wrap=True)
