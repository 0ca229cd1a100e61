"""A client that scans as a station's tablet does, and keeps its own history: the only witness of what it was told.

A scan leaves the queue on its own result alone. Without an answer the same ids go again, the oldest first.
"""

from __future__ import annotations

import http.client
import random
import time
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from tests.faults.server import Server
from tests.faults.wire import Answer

NO_ANSWER = (OSError, http.client.HTTPException, ValueError)


@dataclass
class Tablet:
    server: Server
    station: str
    badge: str
    rng: random.Random
    most: int = 8
    queue: list[dict] = field(default_factory=list)
    sent: dict[str, dict] = field(default_factory=dict)
    answers: dict[str, list[dict]] = field(default_factory=dict)
    troubles: list[Answer] = field(default_factory=list)
    unanswered: int = 0
    headers: dict[str, str] = field(default_factory=dict)

    def __post_init__(self):
        self.headers["Tablet-Series"] = f"series-{self.rng.getrandbits(64):016x}"

    def scan(self, code: str, action: str = "finish", **changes: Any) -> str:
        """Keep a scan for sending. Returns its id."""
        body = {
            "id": str(uuid.UUID(int=self.rng.getrandbits(128), version=4)),
            "code": code,
            "action": action,
            "count": None,
            "badge": self.badge,
            "reason": "",
            "scanned_at": datetime.now(UTC).isoformat(),
            "number": len(self.sent) + 1,
        } | changes
        self.queue.append(body)
        self.sent[body["id"]] = body
        return body["id"]

    def deliver(self, count: int | None = None) -> bool:
        """Send the oldest scans. Whether they were answered."""
        batch = self.queue[: count or self.rng.randint(1, self.most)]
        if not batch:
            return True
        try:
            answer = self.server.post("scans/", {"scans": batch}, self.station, **self.headers)
            results = answer.json["results"] if answer.status == 200 else []
        except NO_ANSWER:
            self.unanswered += 1
            return False
        if answer.status != 200:
            self.troubles.append(answer)
            return False
        self._settle(results)
        return True

    def _settle(self, results: list[dict]) -> None:
        for result in results:
            self.answers.setdefault(result["id"], []).append(result)
        known = {result["id"] for result in results}
        self.queue = [body for body in self.queue if body["id"] not in known]

    def drain(self, seconds: float = 90) -> None:
        """Send until nothing is left."""
        end = time.monotonic() + seconds
        while self.queue:
            assert time.monotonic() < end, f"{self.station} still holds {len(self.queue)} scans"
            if not self.deliver(100):
                time.sleep(self.rng.uniform(0.05, 0.3))

    def send_all_again(self) -> None:
        """Everything once more, as after a new epoch."""
        self.queue = list(self.sent.values())
        self.rng.shuffle(self.queue)
        self.drain()

    def first(self, scan_id: str) -> dict:
        """What the first answer to a scan was."""
        return self.answers[scan_id][0]
