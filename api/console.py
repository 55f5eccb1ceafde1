"""Terminal: tables to standard output, progress and errors to standard error."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import TextIOWrapper

from rich.console import Console, RenderableType
from rich.measure import Measurement
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn

from corrosion.errors import CorrosionError
from corrosion.report.words import clean

WIDTH_WITHOUT_TERMINAL = 150

Report = Callable[[str, int, int], None]


def make_console(*, stderr: bool = False) -> Console:
    """Console that never reads names as markup; wide where no terminal sets the width."""
    console = Console(stderr=stderr, markup=False, emoji=False, highlight=False, soft_wrap=False)
    if not console.is_terminal and "COLUMNS" not in os.environ:
        console.width = WIDTH_WITHOUT_TERMINAL
    return console


def forgive_encodings() -> None:
    """Write ``?`` for a sign the terminal's encoding lacks, instead of breaking off."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")


def show(console: Console, *parts: RenderableType | None) -> None:
    """Print what there is, a blank line between."""
    for part in parts:
        if part is not None:
            # A table that needs more room than the terminal has runs over; it never loses a column.
            needed = Measurement.get(console, console.options, part).minimum
            console.print(part, width=max(console.width, needed), crop=False)
            console.print()


def show_error(error: CorrosionError) -> None:
    """Print an error as one line, its remedy as the next."""
    console = make_console(stderr=True)
    place = f"{error.place}: " if error.place else ""
    console.print(clean(f"Error: {place}{error.problem}"), style="bold red", soft_wrap=True)
    if error.remedy:
        console.print(clean(f"  {error.remedy}"), soft_wrap=True)


@contextmanager
def progress() -> Iterator[Report]:
    """Show a bar per step on standard error; silent where that is not a terminal."""
    console = make_console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bars:
        tasks: dict[str, TaskID] = {}

        def report(step: str, done: int, total: int) -> None:
            if step not in tasks:
                tasks[step] = bars.add_task(step, total=total)
            bars.update(tasks[step], completed=done, total=total)

        yield report
