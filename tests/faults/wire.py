"""One HTTP request, and its answer as a program sees it."""

from __future__ import annotations

import http.client
import json
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


def call(
    port: int, method: str, path: str, body: Any = None, *, key: str = "", timeout: float = 30, **headers: str
) -> Answer:
    """raises OSError, http.client.HTTPException where no whole answer came"""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=timeout)
    sent = {"Accept": "application/json", "Content-Type": "application/json"} | headers
    if key:
        sent["Authorization"] = f"Token {key}"
    try:
        connection.request(method, path, None if body is None else json.dumps(body), sent)
        found = connection.getresponse()
        names = {name.lower(): value for name, value in found.getheaders()}
        return Answer(found.status, names, found.read())
    finally:
        connection.close()
