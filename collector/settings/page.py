"""Where the page is served and who may look, from the table that says it."""

from __future__ import annotations

import ipaddress
import re
from urllib.parse import urlsplit

from collector.configuration import Network, PageConfiguration
from collector.passwords import is_hash, open_to_all
from collector.settings.model import PageSettings
from collector.settings.secrets import SecretFiles
from collector.settings.section import Section

# RFC 9110 5.1: a field name is a token.
_HEADER = re.compile(r"[A-Za-z0-9!#$%&'*+.^_`|~-]{1,100}")


def resolve_page(section: Section, settings: PageSettings, secrets: SecretFiles) -> PageConfiguration:
    """Check it whole: what is wrong is told of each key."""
    host, port = _listen(section, settings.listen)
    url = settings.public_url
    if url is not None and not url.startswith(("http://", "https://")):
        section.wrong("public_url", "must begin with http:// or https://", url)
    header = settings.user_header
    if header is not None and _HEADER.fullmatch(header) is None:
        section.wrong("user_header", 'the name of a header is needed, such as "X-Remote-User"', header)
    proxies = _proxies(section, settings.proxies)
    if header is not None and not settings.proxies:
        section.wrong(
            "user_header",
            "anybody could send it: name under proxies from which addresses it is believed",
            header,
        )
    page = PageConfiguration(
        settings.enabled,
        host,
        port,
        url,
        _password(section, settings.password_file, secrets),
        proxies,
        header,
    )
    if host and settings.password_file is None and not page.is_local and not page.asks_who:
        section.wrong("listen", open_to_all(port), settings.listen)
    return page


def _listen(section: Section, text: str) -> tuple[str, int]:
    host, port = "", None
    try:
        parts = urlsplit(f"//{text}")
        host, port = parts.hostname or "", parts.port
        is_plain = parts.netloc == text and "@" not in text
    except ValueError:
        is_plain = False
    if not host or not port or not is_plain:
        section.wrong("listen", 'an address and a port are needed, such as "127.0.0.1:8460"', text)
    return host, port or 0


def _password(section: Section, name: str | None, secrets: SecretFiles) -> str | None:
    if name is None:
        return None
    # What is in the file is not shown: somebody may have written the password itself.
    text = secrets.password((*section.path, "password_file"), name)
    if text is not None and not is_hash(text):
        section.wrong(
            "password_file", "the file holds no hash of ours: make it with `brinebell password FILE`", name
        )
        return None
    return text


def _proxies(section: Section, texts: list[str]) -> tuple[Network, ...]:
    found = []
    for text in texts:
        try:
            found.append(ipaddress.ip_network(text))
        except ValueError:
            section.wrong(
                "proxies", 'addresses or networks are needed, such as "127.0.0.1" or "10.0.3.0/24"', text
            )
    return tuple(found)
