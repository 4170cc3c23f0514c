"""Web push (RFC 8030, 8291, 8292) to the browsers that asked for it, through the library pywebpush.

Loaded only where there is one. What a browser's own service does not know any more is taken out.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from ..ledger.outbox import Message
from ..ledger.push_file import change_browsers, key_path, push_path, read_browsers
from ..settings import Settings
from .service import Refused
from .wording import page_of

NAME = "browsers"
#: How long one answer is waited for, s.
ANSWER_S = 10.0
#: The browser's service keeps a message for a phone that is off so long, s.
KEPT_S = 12 * 3600
#: The browser's service has no such browser any more (RFC 8030, section 7.3).
GONE = (404, 410)


class Push:
    """Sends a message to every browser; each is sent it once, however often it is tried."""

    def __init__(self, settings: Settings) -> None:
        from py_vapid import Vapid
        from pywebpush import WebPushException, webpush

        self._webpush, self._error = webpush, WebPushException
        self._browsers = push_path(settings.ledger)
        self._key = Vapid.from_file(str(key_path(settings.ledger)))
        page = page_of(settings) or ""
        host = urlsplit(page).hostname if page.startswith("https://") else None
        # Who answers for it (RFC 8292, section 2.1): the page, else an address without a mailbox.
        self._who = f"https://{host}" if host else "mailto:nobody@nightcure.invalid"
        self._page = page.rstrip("/")
        self._taken: dict[str, int] = {}

    def send(self, message: Message) -> None:
        """Raises Refused where a browser's service did not take it."""
        trouble = ""
        payload = json.dumps(
            {
                "id": message.id,
                "kind": message.kind,
                "at_s": message.at_s,
                "title": message.title,
                "text": message.text,
                "url": f"{self._page}/#message-{message.id}",
            },
            ensure_ascii=False,
        )
        for browser in read_browsers(self._browsers):
            endpoint = str(browser.get("endpoint"))
            if self._taken.get(endpoint, 0) < message.id:
                trouble = self._one(browser, endpoint, payload, message) or trouble
        if trouble:
            raise Refused(trouble)

    def _one(self, browser: dict[str, Any], endpoint: str, payload: str, m: Message) -> str:
        headers = {"Urgency": "high" if m.kind in ("trip", "no_answer") else "normal"}
        try:
            self._webpush(
                browser, payload, vapid_private_key=self._key, vapid_claims={"sub": self._who},
                headers=headers, ttl=KEPT_S, timeout=ANSWER_S,
            )  # fmt: skip
        except self._error as error:
            status = getattr(error.response, "status_code", None)
            if status not in GONE:
                return f"A browser's service refused with status {status or 'unknown'}."
            change_browsers(self._browsers, remove=endpoint)
        except Exception as error:  # the library's words hold the browser's address
            return f"A browser's service was not reached ({type(error).__name__})."
        self._taken[endpoint] = m.id
        return ""


def wanted(settings: Settings) -> bool:
    """Whether any browser has asked for messages."""
    path: Path = push_path(settings.ledger)
    return bool(read_browsers(path)) and key_path(settings.ledger).exists()
