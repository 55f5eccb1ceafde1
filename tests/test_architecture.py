"""The shape of the code: what may import what, and what may stand at the top of the repository."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
CORROSION = ROOT / "corrosion"

LAYERS = [
    ["errors", "terms"],
    ["units", "quantity", "opencv", "reference_sizes"],
    ["model", "photo", "grades", "montecarlo"],
    ["results", "lens", "marks", "depth", "layout", "target", "cylinder", "light"],
    ["calibrate", "scale", "suggest", "extremes"],
    ["measure", "placement", "removal", "find"],
    ["findings", "intake", "blend", "rules", "carry"],
    ["disposition"],
    ["survey", "repair"],
    ["decision"],
    ["report"],
    ["demo", "worklist", "compare"],
    ["record"],
    ["archive"],
]
"""Lowest first. A module may import from the rows above its own, and from its own package."""

OUTSIDE = {"api", "fastapi", "starlette", "uvicorn", "sqlalchemy", "alembic", "obstore"}
NETWORK = {"requests", "httpx", "urllib3", "aiohttp", "socket", "ssl", "smtplib", "ftplib"}
NETWORK_DOTTED = {"http.client", "http.server", "urllib.request"}
CLOCK = {
    ("time", "time"), ("time", "time_ns"), ("time", "monotonic"), ("time", "perf_counter"),
    ("time", "localtime"), ("time", "gmtime"), ("datetime", "now"), ("datetime", "utcnow"),
    ("datetime", "today"), ("date", "today"),
}  # fmt: skip
TOP = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "corrosion", "api", "tests", "sample_images",
}  # fmt: skip


def _sources() -> list[Path]:
    return sorted(CORROSION.rglob("*.py"))


def _id(path: Path) -> str:
    return str(path.relative_to(ROOT))


def _layer(path: Path) -> str:
    """Name of the module or package of `corrosion` a file belongs to; empty for the package itself."""
    first = path.relative_to(CORROSION).parts[0]
    return "" if first == "__init__.py" else first.removesuffix(".py")


def _imports(path: Path) -> Iterator[str]:
    """Full names of everything a file imports, wherever in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{_id(path)}:{node.lineno}: a relative import hides its layer"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


@pytest.mark.parametrize("path", _sources(), ids=_id)
def test_the_core_knows_nothing_of_storage_web_or_network(path: Path) -> None:
    """`corrosion` computes: it imports neither the service nor its libraries nor what calls out."""
    names = list(_imports(path))
    assert {name.split(".")[0] for name in names} & (OUTSIDE | NETWORK) == set()
    assert [n for n in names if any(n == d or n.startswith(f"{d}.") for d in NETWORK_DOTTED)] == []


@pytest.mark.parametrize("path", _sources(), ids=_id)
def test_imports_point_one_way(path: Path) -> None:
    """A module imports only from lower layers and its own package, so each can be read on its own."""
    rank = {name: number for number, row in enumerate(LAYERS) for name in row}
    own = _layer(path)
    if not own:
        assert not [name for name in _imports(path) if name.startswith("corrosion")]
        return
    assert own in rank, f"give {own!r} a place in LAYERS"
    for name in _imports(path):
        used = name.split(".")[1] if name.startswith("corrosion.") else own
        if used != own:
            assert used in rank, f"{_id(path)} imports {name}, which has no place in LAYERS"
            assert rank[used] < rank[own], f"{_id(path)} imports {name} from its own layer or above"


@pytest.mark.parametrize("path", _sources(), ids=_id)
def test_the_core_reads_neither_clock_nor_environment(path: Path) -> None:
    """The same survey gives the same answer on any day and any machine.

    `corrosion.opencv` sets, before OpenCV is loaded, a limit the library reads from the environment
    once; it is the only exception.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    read = [
        (node.value.id, node.attr)
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name)
    ]
    assert not set(read) & CLOCK
    imported = set(_imports(path))
    assert not imported & {f"{module}.{name}" for module, name in CLOCK}
    if path.name != "opencv.py":
        assert not [
            pair for pair in read if pair[0] == "os" and pair[1] in {"environ", "getenv", "getenvb"}
        ]
        assert not imported & {"os.environ", "os.getenv"}


def test_only_one_module_loads_opencv() -> None:
    """Everyone gets OpenCV from `corrosion.opencv`, where its limit and its error message are."""
    users = [_id(p) for p in _sources() if any(n.split(".")[0] == "cv2" for n in _imports(p))]
    assert users == ["corrosion/opencv.py"]


def test_the_service_imports_the_core_and_not_the_other_way() -> None:
    """Both directions are looked at: the service does use the core, so the rule above is not idle."""
    used = {
        name for p in (ROOT / "api").rglob("*.py") for name in _imports(p) if name.startswith("corrosion")
    }
    assert used


def test_what_is_private_stays_in_its_package() -> None:
    """A module or name that begins with an underscore is imported from within its own package alone."""
    for path in [*_sources(), *(ROOT / "api").rglob("*.py")]:
        package = ".".join(path.relative_to(ROOT).parent.parts)
        for name in _imports(path):
            owner, _, private = f".{name}".partition("._")
            if private and not private.startswith("_") and owner.startswith((".corrosion", ".api")):
                assert f"{owner}.".startswith(f".{package}."), f"{_id(path)} imports {name}"


def test_the_top_of_the_repository_stays_small() -> None:
    """A newcomer sees what there is at one glance; everything else has a place below."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    top = {name.split("/")[0] for name in listed}
    assert {name for name in top if not name.startswith(".")} - TOP == set()
