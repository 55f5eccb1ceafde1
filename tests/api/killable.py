"""`python -m tests.api.killable [PLACE]`: the service, which kills itself with SIGKILL at a place.

Places: ``received`` (file complete, nothing stored), ``stored`` (original stored, nothing visible),
``commit`` (rows written, transaction still open).
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from typing import Any

from sqlalchemy.orm import Session

from api.app import serve
from api.files import PictureFiles
from api.settings import Settings
from api.uploads import Uploads


def _die(*_: Any, **__: Any) -> Any:
    os.kill(os.getpid(), signal.SIGKILL)


def _after(function: Callable[..., Any]) -> Callable[..., Any]:
    def run_then_die(*args: Any, **kwargs: Any) -> Any:
        function(*args, **kwargs)
        _die()

    return run_then_die


def _flush_and_die(session: Session) -> None:
    session.flush()
    _die()


def arm(place: str) -> None:
    """Make the process die at a place."""
    if place == "received":
        Uploads._intake = _die  # type: ignore[method-assign]
    elif place == "stored":
        PictureFiles.keep = _after(PictureFiles.keep)  # type: ignore[method-assign]
    elif place == "commit":
        Session.commit = _flush_and_die  # type: ignore[method-assign, assignment]
    elif place:
        raise SystemExit(f"no place {place!r}")


def main() -> None:
    """Serve with the settings of the environment and print the address once it listens."""
    arm(sys.argv[1] if len(sys.argv) > 1 else "")
    serve(Settings.from_environment(), opened=lambda address: print(address, flush=True))


if __name__ == "__main__":
    main()
