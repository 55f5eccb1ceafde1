"""The tables of `api.search`."""

from __future__ import annotations
