"""Browser tests: the pages as a person uses them, in a real browser, against a real service."""
