"""The tables of `api.history`."""

from __future__ import annotations
