"""Accounts, roles, sessions and tokens; what each role may do."""
