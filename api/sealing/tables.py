"""The tables of `api.sealing`."""

from __future__ import annotations
