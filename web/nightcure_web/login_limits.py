"""How often a passphrase may be guessed: by one client, and by all together.

One client is stopped long before all are, so that nobody can lock the others out. A stranger's
guesses count for its whole network, of which an IPv6 address has as many as it likes; a device or
an address that has once logged in has its own count, and is not stopped by what strangers do, be it
its neighbours. Together at most 100 wrong guesses an hour are looked at, and 20 more for each that
knew the passphrase before: under 900 000 a year for a household, against some 10^12 passphrases of
four words from a list of a thousand.
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

    def wait_s(self, client: str, now_s: float, device: str | None = None) -> float:
        """How long this client must wait before it may try again, s; 0 if it need not.

        `device`: its number, where it has shown that it has logged in before.
        """
        self._wrong = [w for w in self._wrong if now_s - w[0] < HOUR_S]
        who, known = self._who(client, device)
        own_s = [at_s for at_s, whose in self._wrong if whose == who]
        windows = [(own_s, MOST_ATTEMPTS, WINDOW_S), (own_s, MOST_AN_HOUR, HOUR_S)]
        if not known:
            windows.append(([w[0] for w in self._wrong], MOST_TOGETHER, HOUR_S))
        waits_s = [
            times_s[-most] + window_s - now_s
            for times_s, most, window_s in windows
            if len(times_s) >= most
        ]
        return max(0.0, *waits_s) if waits_s else 0.0

    def wrong(self, client: str, now_s: float, device: str | None = None) -> None:
        """It guessed wrong."""
        self._wrong.append((now_s, self._who(client, device)[0]))

    def right(self, client: str, device: str | None = None) -> None:
        """It knew: its slips are forgotten, and its address is known from now on."""
        who, _ = self._who(client, device)
        self._wrong = [w for w in self._wrong if w[1] != who]
        address = _address(client)
        self._known[address] = None
        self._known.move_to_end(address)
        while len(self._known) > MOST_KNOWN:
            self._known.popitem(last=False)

    def _who(self, client: str, device: str | None) -> tuple[str, bool]:
        """Whom its guesses count for, and whether that has logged in before."""
        if device is not None:
            return f"device {device}", True
        address = _address(client)
        return (address, True) if address in self._known else (neighbourhood(client), False)


def _address(client: str) -> str:
    """A client's address, written in one way."""
    try:
        address = ipaddress.ip_address(client.partition("%")[0])
    except ValueError:
        return client
    return str(getattr(address, "ipv4_mapped", None) or address)


def neighbourhood(client: str) -> str:
    """A client's address; of IPv6 the first half, since the rest is the client's own to choose."""
    address = _address(client)
    try:
        return str(ipaddress.IPv6Network((address, 64), strict=False))
    except ValueError:
        return address
