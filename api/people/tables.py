"""The tables of `api.people`."""

from __future__ import annotations
