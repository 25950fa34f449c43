"""Links: what was made here is read again, and nothing else is, nor after its end."""

from __future__ import annotations

import base64
import hmac
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from collector.errors import ConfigError
from collector.links import LASTING_US, Link, LinkError, Links, link_key
from rules import HOUR_US

NOW = 1_772_847_900_000_000
KEY = bytes(range(32))
LINKS = Links(KEY, "https://tank.example.org/")
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"

links = st.builds(Link, st.text(min_size=1, max_size=40), st.one_of(st.none(), st.integers(1, 2**53)))


@given(links, st.integers(0, 2**52))
def test_what_was_made_is_read_again_until_its_end(link: Link, now_us: int) -> None:
    text = LINKS.text(link, now_us)
    assert set(text) <= set(LETTERS)
    assert LINKS.read(text, now_us) == link
    assert LINKS.read(text, now_us + LASTING_US - 1) == link
    with pytest.raises(LinkError, match="has expired") as caught:
        LINKS.read(text, now_us + LASTING_US + 1_000_000)
    assert caught.value.is_expired


def test_an_address_is_short_enough_for_a_text_message() -> None:
    address = LINKS.address(Link("sam", 1234), NOW)
    assert address.startswith("https://tank.example.org/answer/")
    assert len(address) <= 100


@given(links, st.data())
def test_a_link_with_any_other_letter_is_refused(link: Link, data: st.DataObject) -> None:
    text = LINKS.text(link, NOW)
    place = data.draw(st.integers(0, len(text) - 1))
    letter = data.draw(st.sampled_from(LETTERS + "=+/ .%\n" + "é"))
    assume(letter != text[place])
    head = text[:place]
    for wrong in {head + letter + text[place + 1 :], head + letter + text[place:], head} - {text}:
        with pytest.raises(LinkError) as caught:
            LINKS.read(wrong, NOW)
        assert not caught.value.is_expired


@given(st.text(max_size=600))
def test_any_text_is_refused_in_words(text: str) -> None:
    with pytest.raises(LinkError, match="not made here"):
        LINKS.read(text, NOW)


def test_another_key_and_another_purpose_are_refused() -> None:
    link = Link("sam", 1)
    with pytest.raises(LinkError):
        Links(bytes(32), "https://x.example").read(LINKS.text(link, NOW), NOW)
    with pytest.raises(LinkError):
        LINKS.read(LINKS.form_text(NOW), NOW)
    with pytest.raises(LinkError):
        LINKS.check_form(LINKS.text(link, NOW), NOW)


def test_a_form_is_good_for_half_a_day() -> None:
    text = LINKS.form_text(NOW)
    assert LINKS.form_text(NOW) != text
    LINKS.check_form(text, NOW + 12 * HOUR_US - 1)
    with pytest.raises(LinkError, match="expired"):
        LINKS.check_form(text, NOW + 12 * HOUR_US + 1_000_000)


def test_the_signature_is_hmac_sha256_cut_to_128_bits() -> None:
    """RFC 2104, section 5: at least half of the hash, and 80 bits."""
    raw = base64.urlsafe_b64decode(LINKS.text(Link("sam", 1), NOW) + "==")
    signature, content = raw[:16], raw[16:]
    assert signature == hmac.new(KEY, b"link\0" + content, "sha256").digest()[:16]


def test_a_key_is_made_once_and_only_its_owner_reads_it(tmp_path: Path) -> None:
    path = tmp_path / "links.key"
    key = link_key(path)
    assert len(key) == 32
    assert link_key(path) == key
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert [one.name for one in tmp_path.iterdir()] == ["links.key"]


def test_two_services_that_start_at_once_agree_on_the_key(tmp_path: Path) -> None:
    code = """
import pathlib, sys
from collector.links import link_key
print(link_key(pathlib.Path(sys.argv[1])).hex())
"""
    command = [sys.executable, "-c", code, str(tmp_path / "links.key")]
    processes = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(4)]
    assert len({process.communicate()[0] for process in processes}) == 1


def test_what_is_no_key_is_named_with_its_mend(tmp_path: Path) -> None:
    path = tmp_path / "links.key"
    path.write_bytes(b"short")
    with pytest.raises(ConfigError, match=r"links\.key is not the key .*5 bytes"):
        link_key(path)
    with pytest.raises(ConfigError, match="the key of the links in messages"):
        link_key(tmp_path / "nowhere" / "links.key")
