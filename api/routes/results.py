"""Results: measures, the assessment, the ledger of a spot, maps."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter(tags=["results"])
