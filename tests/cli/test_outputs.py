"""Outputs are whole or not there."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.outputs import OutputError, check_output, write_json, write_whole


def test_a_failure_leaves_the_old_file(tmp_path: Path) -> None:
    """When writing breaks off, the old file is whole and nothing else is left."""
    target = tmp_path / "map.png"
    target.write_bytes(b"old")

    def break_off(path: Path) -> None:
        path.write_bytes(b"half")
        raise RuntimeError("power cut")

    with pytest.raises(RuntimeError, match="power cut"):
        write_whole(target, break_off)
    assert target.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [target]


def test_a_system_refusal_is_explained(tmp_path: Path) -> None:
    """A full disk or a missing folder is an error with a place and a way out, not a traceback."""

    def disk_full(path: Path) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match=r"No space left.*space on the disk"):
        write_whole(tmp_path / "a.json", disk_full)
    with pytest.raises(OutputError, match="nowhere"):
        write_json(str(tmp_path / "nowhere" / "a.json"), {})
    assert not list(tmp_path.iterdir())


def test_inputs_are_recognised_by_any_name(tmp_path: Path) -> None:
    """An input is refused as output also under a linked or roundabout name."""
    survey = tmp_path / "survey.json"
    survey.write_text("{}", encoding="utf-8")
    (tmp_path / "sub").mkdir()
    (tmp_path / "link.json").symlink_to(survey)
    for name in ("link.json", "sub/../survey.json"):
        with pytest.raises(OutputError, match="input of the survey"):
            check_output(tmp_path / name, inputs=[survey])
    check_output(tmp_path / "other.json", inputs=[survey])
