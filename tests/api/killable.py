"""`python -m tests.api.killable [PLACE]`: the service, which kills itself with SIGKILL at a place.

Places: ``received`` (file complete, nothing stored), ``stored`` (original stored, nothing visible),
``flushed`` (rows written, transaction open), ``put`` (in the middle of an edit's transaction).
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


def arm(place: str) -> None:
    """Make the process die at a place."""
    if place == "received":
        Uploads._intake = _die  # type: ignore[method-assign]
    elif place == "stored":
        PictureFiles.keep = _after(PictureFiles.keep)  # type: ignore[method-assign]
    elif place == "flushed":
        armed = {"on": False}
        enter = Uploads._enter

        def enter_armed(*args: Any, **kwargs: Any) -> Any:
            armed["on"] = True
            return enter(*args, **kwargs)

        def commit(session: Session) -> None:
            session.flush()
            _die()

        Uploads._enter = enter_armed  # type: ignore[method-assign]
        original = Session.commit
        Session.commit = lambda self: commit(self) if armed["on"] else original(self)  # type: ignore[method-assign]
    elif place == "put":
        Session.commit = lambda self: _die() if self.dirty or self.new else None  # type: ignore[method-assign]
    elif place:
        raise SystemExit(f"no place {place!r}")


def main() -> None:
    """Serve with the settings of the environment and print the address once it listens."""
    arm(sys.argv[1] if len(sys.argv) > 1 else "")
    serve(Settings.from_environment(), opened=lambda address: print(address, flush=True))


if __name__ == "__main__":
    main()
