"""How often a password may be tried: a few times from one address, and not without end from all together.

Links in messages and sessions that go on are not touched, so that whoever guesses locks nobody out of
what is ringing.
"""

from __future__ import annotations

import ipaddress
import time
from collections.abc import Callable
from dataclasses import dataclass

# A forgotten password is found within five tries; afterwards one a minute.
FROM_ONE = 5
ONE_AGAIN_S = 60.0
# From everywhere: 4,320 a day, against ten characters a lost cause.
FROM_ALL = 30
ALL_AGAIN_S = 20.0
_MOST_ADDRESSES = 1000
# An IPv6 customer has at least this many leading bits, and every address behind them.
_PREFIX = 64


@dataclass(slots=True)
class _Bucket:
    """Tries left as of an instant; one more comes every `again_s`, up to `most`."""

    most: int
    again_s: float
    left: float
    at_s: float

    def fill(self, now_s: float) -> None:
        self.left = min(float(self.most), self.left + (now_s - self.at_s) / self.again_s)
        self.at_s = now_s

    @property
    def wait_s(self) -> float:
        return max(0.0, (1.0 - self.left) * self.again_s)


class Attempts:
    """Counts tries; to be used from one thread."""

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._all = _Bucket(FROM_ALL, ALL_AGAIN_S, FROM_ALL, monotonic())
        self._each: dict[str, _Bucket] = {}

    def take(self, address: str) -> float:
        """Take a try: 0.0 if there was one, else in how many seconds there will be."""
        now_s, bucket = self._monotonic(), self._bucket(address)
        for one in (bucket, self._all):
            one.fill(now_s)
        wait_s = max(bucket.wait_s, self._all.wait_s)
        if wait_s == 0.0:
            bucket.left -= 1.0
            self._all.left -= 1.0
        return wait_s

    def give_back(self, address: str) -> None:
        """The last one was right."""
        for one in (self._bucket(address), self._all):
            one.left = min(float(one.most), one.left + 1.0)

    def _bucket(self, address: str) -> _Bucket:
        key = _neighbourhood(address)
        bucket = self._each.pop(key, None)
        if bucket is None:
            bucket = _Bucket(FROM_ONE, ONE_AGAIN_S, FROM_ONE, self._monotonic())
            if len(self._each) >= _MOST_ADDRESSES:
                # The one that was not heard of for longest.
                del self._each[next(iter(self._each))]
        self._each[key] = bucket
        return bucket


def _neighbourhood(address: str) -> str:
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address[:100]
    if isinstance(found, ipaddress.IPv6Address):
        return str(ipaddress.ip_network((found, _PREFIX), strict=False))
    return str(found)
