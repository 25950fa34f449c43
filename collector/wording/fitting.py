"""Text made to fit: counted in words and characters, cut between words."""

from __future__ import annotations

from collections.abc import Iterable

CUT = "…"


def words(text: str) -> int:
    """How many words a text has: what stands between white space."""
    return len(text.split())


def shorten(text: str, characters: int, most_words: int) -> str:
    """Cut a text between words so that it fits, marked with an ellipsis.

    If not even the first word fits, that word is cut; both bounds are at least 1.
    """
    pieces = text.split()
    if len(pieces) <= most_words and len(" ".join(pieces)) <= characters:
        return " ".join(pieces)
    for count in range(min(len(pieces) - 1, most_words), 0, -1):
        cut = " ".join(pieces[:count]).rstrip(",;:") + CUT
        if len(cut) <= characters:
            return cut
    return pieces[0][: characters - 1] + CUT


def shorten_pair(first: str, second: str, characters: int, most_words: int) -> str:
    """Join two names by a comma so that they fit; the first is cut before the second."""
    joined = f"{first}, {second}"
    if len(joined) <= characters and words(joined) <= most_words:
        return joined
    if characters < 8 or most_words < 2:
        return shorten(second, characters, most_words)
    kept = shorten(second, characters - min(len(first), characters // 4) - 2, most_words - 1)
    return f"{shorten(first, characters - len(kept) - 2, most_words - words(kept))}, {kept}"


def join_while_fitting(
    before: Iterable[str], optional: Iterable[str | tuple[str, ...]], after: Iterable[str], most_words: int
) -> str:
    """Join sentences; of the optional ones, in their order of merit, those for which there is room.

    Of several wordings of one the first that fits is taken.
    """
    before, after = [*before], [*after]
    room = most_words - sum(map(words, (*before, *after)))
    for wordings in optional:
        for sentence in (wordings,) if isinstance(wordings, str) else wordings:
            if words(sentence) <= room:
                before.append(sentence)
                room -= words(sentence)
                break
    return " ".join((*before, *after))
