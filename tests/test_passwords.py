"""How the page's password is kept, and what is taken for one."""

from __future__ import annotations

import pytest
from argon2 import PasswordHasher, Type, extract_parameters

from collector.passwords import MEMORY_KIB, PASSES, hashed, is_hash, is_password, what_is_wrong

# Dear hashes are for guessers: tests that try many take the cheapest that there is.
CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(
    "four plain words here", salt=b"salt" * 4
)


def test_hash_is_argon2id_with_the_parameters_told_and_a_salt_of_its_own() -> None:
    first, second = hashed("four plain words here"), hashed("four plain words here")
    found = extract_parameters(first)
    assert (found.type, found.memory_cost, found.time_cost, found.parallelism) == (
        Type.ID,
        MEMORY_KIB,
        PASSES,
        1,
    )
    assert first != second
    assert is_hash(first)
    assert is_password("four plain words here", first)
    assert not is_password("four plain words her", first)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "four plain words",
        "four plain words here ",
        "FOUR plain words here",
        "x" * 5000,
        "\ud800",
        "\0",
        CHEAP,
    ],
)
def test_nothing_else_is_the_password(text: str) -> None:
    assert not is_password(text, CHEAP)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "four plain words here",
        "$argon2i$v=19$m=19456,t=3,p=1$c2FsdHNhbHRzYWx0$MTIzNDU2Nzg5MDEyMzQ1Njc4OTA",
        "$argon2id$v=19$m=9999999,t=3,p=1$c2FsdHNhbHRzYWx0$MTIzNDU2Nzg5MDEyMzQ1Njc4OTA",
        CHEAP + "\nmore",
    ],
    ids=["nothing", "the password itself", "another kind", "too dear", "more behind it"],
)
def test_what_is_no_hash_of_ours_is_told_apart(text: str) -> None:
    assert not is_hash(text)


@pytest.mark.parametrize(
    ("password", "told"),
    [
        ("nine char", "it has 9 characters, at least 10"),
        ("ten charac", None),
        ("a" * 30, "too few different"),
        ("ab cd ef gh" * 19, "at most 200"),
        ("tab\tis no good", "cannot be typed"),
        ("größe über alles", None),
    ],
)
def test_password_must_be_long_enough(password: str, told: str | None) -> None:
    wrong = what_is_wrong(password)
    assert wrong is None if told is None else wrong is not None and told in wrong
