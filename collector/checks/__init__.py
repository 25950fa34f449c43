"""What `brinebell check` looks at, one thing a module: each says what it found and how to mend it."""

from collector.checks.finding import Finding, Verdict

__all__ = ["Finding", "Verdict"]
