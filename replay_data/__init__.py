"""Recorded and simulated weeks with what truly happened in them, for `brinebell replay` and the tests."""
