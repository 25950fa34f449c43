"""The password of the page: how it is kept, and what is asked of it.

Kept is an Argon2id hash (RFC 9106) in a file of its own. The library is imported only where a password is
made or tried, so that a service that nobody logs in to pays nothing for it.
"""

from __future__ import annotations

import re

# 19 MiB is what a Raspberry Pi of 512 MB spares for one try (tries come one after the other), and the least
# that OWASP's password storage cheat sheet takes for Argon2id (quoted from memory: 19 MiB, two passes, one
# lane). One pass more costs the guesser half as much again, and a log-in well under a second on a Pi.
MEMORY_KIB = 19 * 1024
PASSES = 3
LANES = 1

LEAST_CHARACTERS = 10
MOST_CHARACTERS = 200

_HASH = re.compile(
    r"\$argon2id\$v=19\$m=(\d{1,7}),t=(\d{1,3}),p=(\d{1,2})\$[A-Za-z0-9+/]{11,}\$[A-Za-z0-9+/]{16,}"
)
# More would let one log-in take what the service needs.
_MOST_MEMORY_KIB = 256 * 1024


def what_is_wrong(password: str) -> str | None:
    """Say why a password will not do; None if it will."""
    if len(password) < LEAST_CHARACTERS:
        return f"it has {len(password)} characters, at least {LEAST_CHARACTERS} are needed: four words do"
    if len(password) > MOST_CHARACTERS:
        return f"it has {len(password)} characters, at most {MOST_CHARACTERS} are taken"
    if len(set(password)) < 5:
        return "it is made of too few different characters"
    if not password.isprintable():
        return "it holds characters that cannot be typed everywhere"
    return None


def hashed(password: str) -> str:
    """A hash of a password, with a salt of its own."""
    from argon2 import PasswordHasher

    return PasswordHasher(time_cost=PASSES, memory_cost=MEMORY_KIB, parallelism=LANES).hash(password)


def is_hash(text: str) -> bool:
    """Whether that is a hash of ours, or one that is no dearer than this service can pay."""
    found = _HASH.fullmatch(text)
    return found is not None and 8 <= int(found[1]) <= _MOST_MEMORY_KIB and 1 <= int(found[2]) <= 100


def is_password(text: str, known: str) -> bool:
    """Whether that is the password of a hash; it takes as long whatever the text is."""
    from argon2 import PasswordHasher
    from argon2.exceptions import InvalidHashError, VerificationError

    try:
        # Cut and not refused: a refusal would be told by how fast it comes.
        return PasswordHasher().verify(known, text[: MOST_CHARACTERS + 1].encode("utf-8", "replace"))
    except (VerificationError, InvalidHashError):
        return False


def open_to_all(port: int) -> str:
    """What is wrong with an address that others reach, and how to mend it."""
    return (
        "would let other machines read along and quiet alarms, and no password is set: make one with "
        '`brinebell password page.password` and name the file, password_file = "page.password"; or write '
        f'listen = "127.0.0.1:{port}" and reach it through an SSH tunnel, such as '
        f"`ssh -L {port}:127.0.0.1:{port} USER@THIS_MACHINE`"
    )
