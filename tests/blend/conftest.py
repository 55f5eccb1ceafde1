from __future__ import annotations

import pytest

from tests.blend.workshop import Workshop


@pytest.fixture
def shop() -> Workshop:
    """Give a member 1 mm thick, limit 10 %, with allowance 0.02 mm and run-out 20:1 in total."""
    return Workshop()
