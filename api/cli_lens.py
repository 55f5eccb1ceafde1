"""``corrosion lens`` and ``corrosion straighten``: lens profiles of a board, or of one straight edge."""
# ruff: noqa: PLC0415

from __future__ import annotations

import re
from collections.abc import Sequence
from math import degrees
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.console import make_console, progress, show
from api.outputs import check_output, write_json
from corrosion.errors import LensError

if TYPE_CHECKING:
    from rich.table import Table

    from corrosion.calibrate import Board, BoardView, Calibration
    from corrosion.quantity import FloatArray


def lens(  # noqa: PLR0913, PLR0917 -- a command's options
    photos: Annotated[
        list[Path],
        typer.Argument(
            metavar="BOARD_PHOTOS...", help="Photos of the board, eight or more.", show_default=False
        ),
    ],
    board: Annotated[
        str,
        typer.Option(
            "--board",
            metavar="COLUMNSxROWS",
            help="Inner corners of a chessboard, as 9x6; squares of a board with markers.",
        ),
    ],
    square: Annotated[
        float,
        typer.Option(
            "--square", min=0.0, help="Side of one square, in the unit of the survey the profile is for."
        ),
    ],
    device: Annotated[
        str,
        typer.Option("--device", help="Camera or probe the profile is for, as the photos will name it."),
    ],
    out: Annotated[
        Path,
        typer.Option(
            "--out", metavar="LENS.json", help="Where the profile goes; it belongs under 'lenses'."
        ),
    ],
    name: Annotated[str, typer.Option("--id", help="Id of the profile; the device if not given.")] = "",
    adapter: Annotated[str, typer.Option("--adapter", help="Tip adapter it is for.")] = "",
    focus: Annotated[str, typer.Option("--focus", help="Focus or zoom setting it is for.")] = "",
    nearest: Annotated[
        float | None, typer.Option("--nearest", min=0.0, help="Least working distance it is for.")
    ] = None,
    furthest: Annotated[
        float | None, typer.Option("--furthest", min=0.0, help="Largest working distance it is for.")
    ] = None,
    marker: Annotated[
        float | None,
        typer.Option(
            "--marker", min=0.0, help="Side of the markers, for a board with markers in its squares."
        ),
    ] = None,
    dictionary: Annotated[
        str, typer.Option("--dictionary", help="Dictionary of the markers, as 4x4_50.")
    ] = "4x4_50",
    partial: Annotated[
        bool,
        typer.Option(
            "--partial",
            help="Accept boards over less than 60 % of the frame; marks beyond are then refused.",
        ),
    ] = False,
) -> None:
    """Calibrate a lens from photos of a flat board of squares, and show whether to trust the result."""
    from corrosion.calibrate import Binding, Board, calibrate_lens, distance_range

    columns, rows = _counts(board)
    made = Board(columns, rows, square, marker, dictionary)
    check_output(out, inputs=photos, endings=(".json",))
    distances = distance_range(nearest, furthest, "--nearest, --furthest")
    binding = Binding(
        name or device, device, adapter, focus, distances, f"board {board}, square {square:g}"
    )
    views, missed, size = _views(photos, made)
    console = make_console()
    if missed:
        console.print(f"No board found in: {', '.join(missed)}", soft_wrap=True)
    calibration = calibrate_lens(views, size, binding, partial=partial)
    show(console, *_report(calibration))
    body = calibration.profile.model_dump(mode="json", exclude_defaults=True)
    write_json(str(out), body | {"model": calibration.profile.model})
    console.print(f"Written to {out}. Put it into the survey's 'lenses'.", soft_wrap=True)


def _counts(board: str) -> tuple[int, int]:
    found = re.fullmatch(r"(\d{1,3})[xX](\d{1,3})", board.strip())
    if found is None:
        raise LensError(
            f"the board {board!r} cannot be read.", place="--board", remedy="Write columns x rows, as 9x6."
        )
    return int(found[1]), int(found[2])


def _views(photos: Sequence[Path], board: Board) -> tuple[list[BoardView], list[str], tuple[int, int]]:
    """Boards found, names of the photos without one, and the size that all photos must share."""
    from corrosion.calibrate import find_board
    from corrosion.photo import load_picture

    views, missed = [], []
    size: tuple[int, int] | None = None
    with progress() as report:
        for number, path in enumerate(photos, start=1):
            picture = load_picture(path)
            size = size or picture.header.size_px
            if picture.header.size_px != size:
                raise LensError(
                    f"is {picture.header.size_px} px, but {photos[0].name} is {size} px.",
                    place=str(path),
                    remedy="Calibrate with uncropped photos of one size, all held the same way up.",
                )
            view = find_board(picture.grey, board, path.name)
            if view is None:
                missed.append(path.name)
            else:
                views.append(view)
            report("boards", number, len(photos))
    return views, missed, size or (0, 0)


def _report(calibration: Calibration) -> list[Table | str]:
    profile = calibration.profile
    fit = f"{profile.views} views, {profile.rms_px} px RMS, model error {profile.u_px} px."
    frame = f"Corners in each part of the frame, {calibration.covered:.0%} covered:"
    return [
        _views_table(calibration),
        _models_table(calibration),
        f"{frame}\n{_frame_map(calibration)}",
        fit,
    ]


def _views_table(calibration: Calibration) -> Table:
    from rich.table import Table

    table = Table("photo", "corners", "RMS px", "worst px", "distance", "tilt deg", title="Views")
    for view in calibration.views:
        tilt = f"{degrees(view.tilt_rad):.0f}"
        numbers = (f"{view.rms_px:.3f}", f"{view.worst_px:.3f}", f"{view.distance_mm:.4g}", tilt)
        table.add_row(view.name, str(view.corners), *numbers)
    return table


def _models_table(calibration: Calibration) -> Table:
    """Show the models in the order of the evidence, the chosen one first."""
    from rich.table import Table

    chosen = calibration.candidates[0]
    table = Table("model", "RMS px", "AIC less chosen", title="Models")
    for fit in calibration.candidates:
        table.add_row(fit.name, f"{fit.rms_px:.4f}", f"{fit.aic - chosen.aic:+.1f}")
    return table


def _frame_map(calibration: Calibration) -> str:
    return "\n".join("".join(f"{n or '.':>5}" for n in row) for row in calibration.cells.tolist())


def straighten(
    photo: Annotated[Path, typer.Argument(help="Photo with an edge that is straight in fact.")],
    at: Annotated[
        list[str],
        typer.Option("--at", metavar="X,Y", help="A point on the edge, px; give five or more, in order."),
    ],
    out: Annotated[Path, typer.Option("--out", metavar="LENS.json", help="Where the profile goes.")],
    name: Annotated[str, typer.Option("--id", help="Id of the profile.")] = "edge",
    device: Annotated[str, typer.Option("--device", help="Camera or probe the profile is for.")] = "",
) -> None:
    """Make a rough lens profile from one straight edge, where no board was photographed.

    Only the bend is taken out; what stays unknown widens every uncertainty.
    """
    from corrosion.calibrate import straighten as from_edge
    from corrosion.photo import load_picture

    check_output(out, inputs=[photo], endings=(".json",))
    size = load_picture(photo).header.size_px
    profile = from_edge(_points(at), size, name=name, device=device)
    write_json(str(out), profile.model_dump(mode="json", exclude_defaults=True) | {"model": profile.model})
    console = make_console()
    console.print(
        f"k1 = {profile.distortion[0]:+.4f} (focal length taken as {profile.matrix[0]:g} px, not known). "
        f"Written to {out}. Put it into the survey's 'lenses'.",
        soft_wrap=True,
    )


def _points(texts: Sequence[str]) -> FloatArray:
    import numpy as np

    points = []
    for text in texts:
        found = re.fullmatch(r"\s*(-?\d+(?:\.\d+)?)\s*,\s*(-?\d+(?:\.\d+)?)\s*", text)
        if found is None:
            raise LensError(f"the point {text!r} cannot be read.", place="--at", remedy="Write x,y in px.")
        points.append((float(found[1]), float(found[2])))
    return np.array(points, dtype=np.float64).reshape(-1, 2)
