"""Tests of the pages without a browser: files read, tables written, HTML answered."""
