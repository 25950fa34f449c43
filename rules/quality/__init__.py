"""QARTOD quality tests, one a file: limits, state and function together."""
