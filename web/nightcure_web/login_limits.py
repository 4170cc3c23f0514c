"""How often a passphrase may be guessed: by one client, and by all together.

One client is stopped long before all are, so that nobody can lock the others out; and a client
that has once logged in is not stopped by what strangers do. Together at most 100 wrong guesses an
hour are looked at, and 20 more for each client that knew the passphrase before: under 900 000 a
year, against some 10^12 passphrases of four words from a list of a thousand.
"""

from __future__ import annotations

import ipaddress
from collections import OrderedDict

#: A client's wrong guesses within a minute, and within an hour.
MOST_ATTEMPTS, WINDOW_S = 5, 60.0
MOST_AN_HOUR, HOUR_S = 20, 3600.0
#: Wrong guesses of all clients within an hour.
MOST_TOGETHER = 100
#: So many clients that have logged in are remembered.
MOST_KNOWN = 64


class LoginLimits:
    """Wrong passphrases of the last hour. Not for several threads at the same moment."""

    def __init__(self) -> None:
        self._wrong: list[tuple[float, str]] = []
        self._known: OrderedDict[str, None] = OrderedDict()

    def wait_s(self, client: str, now_s: float) -> float:
        """How long this client must wait before it may try again, s; 0 if it need not."""
        self._wrong = [w for w in self._wrong if now_s - w[0] < HOUR_S]
        who = _one(client)
        own_s = [at_s for at_s, whose in self._wrong if whose == who]
        waits_s = [0.0]
        for times_s, most, window_s in (
            (own_s, MOST_ATTEMPTS, WINDOW_S),
            (own_s, MOST_AN_HOUR, HOUR_S),
            ([w[0] for w in self._wrong], MOST_TOGETHER, HOUR_S),
        ):
            if most == MOST_TOGETHER and who in self._known:
                continue
            if len(times_s) >= most:
                waits_s.append(times_s[-most] + window_s - now_s)
        return max(waits_s)

    def wrong(self, client: str, now_s: float) -> None:
        """It guessed wrong."""
        self._wrong.append((now_s, _one(client)))

    def right(self, client: str) -> None:
        """It knew: its slips are forgotten, and it is known from now on."""
        who = _one(client)
        self._wrong = [w for w in self._wrong if w[1] != who]
        self._known[who] = None
        self._known.move_to_end(who)
        while len(self._known) > MOST_KNOWN:
            self._known.popitem(last=False)


def _one(client: str) -> str:
    """A client's address; of IPv6 the first half, since the rest is the client's own to choose."""
    try:
        address = ipaddress.ip_address(client.partition("%")[0])
    except ValueError:
        return client
    if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped is None:
        return str(ipaddress.ip_network((address, 64), strict=False).network_address)
    return str(getattr(address, "ipv4_mapped", None) or address)
