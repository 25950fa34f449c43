"""The one message of the morning: how much it says, and that it leaves nothing out silently."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from collector.telling.morning import morning_message
from collector.wording import BODY_WORDS, TITLE_CHARACTERS, TITLE_WORDS
from rules import Priority

WORDS = st.sampled_from(["Heater", "failed:", "Reef", "24.6"])
TITLES = st.lists(WORDS, min_size=1, max_size=TITLE_WORDS).map(" ".join)
lines = st.lists(st.tuples(st.sampled_from(list(Priority)), TITLES, st.booleans()), min_size=1, max_size=60)


@given(lines)
def test_it_keeps_to_the_bounds_of_every_message_and_counts_what_it_leaves_out(waited):
    title, body = morning_message(waited)
    assert len(title) <= TITLE_CHARACTERS
    assert len(title.split()) <= TITLE_WORDS
    assert len(body.split()) <= BODY_WORDS
    told = sum(body.count(f"{word}: ") for word in ("Urgent", "High", "Low", "Over"))
    left = int(body.rpartition("And ")[2].split()[0]) if "more: look" in body else 0
    assert told + left == len(waited)
