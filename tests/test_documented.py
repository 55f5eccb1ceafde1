"""What a reader may count on finding: docstrings, meanings, a drawn error tree, files one can hold."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from corrosion import errors, model
from corrosion.model.base import Part
from corrosion.terms import FLAG_MEANING, Flag

ROOT = Path(__file__).parent.parent
MOST_LINES = 400
Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def _files(*folders: str) -> list[Path]:
    return sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py"))


def _id(path: Path) -> str:
    return str(path.relative_to(ROOT))


def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _public(body: list[ast.stmt], prefix: str = "") -> Iterator[tuple[str, Definition]]:
    """Public functions, classes and methods of a module or class; helpers inside functions are left out."""
    for node in body:
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
            if node.name.startswith("_"):
                continue
            yield f"{prefix}{node.name}", node
            if isinstance(node, ast.ClassDef):
                yield from _public(node.body, f"{prefix}{node.name}.")


def _overloads(node: Definition) -> bool:
    return any("overload" in ast.unparse(decorator) for decorator in node.decorator_list)


@pytest.mark.parametrize("path", _files("corrosion", "api"), ids=_id)
def test_modules_and_public_names_are_documented(path: Path) -> None:
    """Every module, public class, function and method says in a docstring what it is for."""
    tree = _tree(path)
    if tree.body and "migrations/versions" not in str(path):
        assert ast.get_docstring(tree), "the module has no docstring"
    bare = [
        name for name, node in _public(tree.body) if not ast.get_docstring(node) and not _overloads(node)
    ]
    assert bare == []


@pytest.mark.parametrize("path", _files("corrosion", "api"), ids=_id)
def test_a_file_can_be_held_in_the_head(path: Path) -> None:
    """No file of the program is longer than 400 lines."""
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MOST_LINES


@pytest.mark.parametrize("flag", Flag)
def test_every_flag_has_a_meaning(flag: Flag) -> None:
    """A flag travels with a number; a reader finds a sentence for it."""
    assert FLAG_MEANING[flag].endswith(".")


def test_flag_meanings_are_told_apart() -> None:
    """No two flags mean the same, and no meaning is left over."""
    assert set(FLAG_MEANING) == set(Flag)
    assert len(set(FLAG_MEANING.values())) == len(Flag)


def test_the_error_tree_is_drawn() -> None:
    """The docstring of `corrosion.errors` draws every error of the module, in the order of the classes."""
    assert errors.__doc__ is not None
    drawn = [
        word
        for word in errors.__doc__.replace("|-", " ").replace("`-", " ").split()
        if word.endswith("Error")
    ]
    defined = [
        node.name for node in _tree(ROOT / "corrosion" / "errors.py").body if isinstance(node, ast.ClassDef)
    ]
    assert drawn == defined


def test_every_error_of_the_tree_is_one_a_user_can_act_on() -> None:
    """All errors of the module share one root, which carries problem, place and remedy."""
    found = [e for e in vars(errors).values() if isinstance(e, type) and issubclass(e, Exception)]
    assert all(issubclass(e, errors.CorrosionError) for e in found)
    shown = str(errors.LayoutError("is odd.", place="member 'A'", remedy="Straighten it."))
    assert shown == "member 'A': is odd. Straighten it."


def test_every_part_of_the_survey_file_is_documented() -> None:
    """Each part of the format says what it is; the schema prints these sentences."""
    parts = [p for p in vars(model).values() if isinstance(p, type) and issubclass(p, Part)]
    assert [part.__name__ for part in parts if "__doc__" not in vars(part) or not part.__doc__] == []


@pytest.mark.parametrize("path", _files("tests"), ids=_id)
def test_every_test_states_its_promise(path: Path) -> None:
    """Each test begins with one sentence that says what it promises."""
    tests = [
        (f"{path.name}::{name}", node)
        for name, node in _public(_tree(path).body)
        if not isinstance(node, ast.ClassDef) and node.name.startswith("test_")
    ]
    silent = [name for name, node in tests if not (ast.get_docstring(node) or "").strip()]
    assert silent == []


@pytest.mark.parametrize("path", _files("tests"), ids=_id)
def test_no_test_is_defined_twice(path: Path) -> None:
    """A second test of the same name would silently replace the first."""
    names = [name for name, _ in _public(_tree(path).body) if name.split(".")[-1].startswith("test_")]
    assert len(names) == len(set(names))
