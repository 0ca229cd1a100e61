"""A message signed by the open specification Standard Webhooks (standardwebhooks.com), symmetric signatures. Pure.

What is signed is `id.timestamp.body` with HMAC-SHA256; the secret is `whsec_` and the key in Base64.
"""

from __future__ import annotations

import base64
import hashlib
import hmac

PREFIX = "whsec_"
KEY_BYTES = 32


def secret_of(key: bytes) -> str:
    """The text of a secret. The specification allows keys of 24 to 64 bytes."""
    return PREFIX + base64.b64encode(key).decode()


def signed_headers(*, secret: str, message_id: str, timestamp: int, body: bytes) -> dict[str, str]:
    """The three headers of a message.

    timestamp  seconds since 1970, UTC
    """
    key = base64.b64decode(secret.removeprefix(PREFIX))
    text = f"{message_id}.{timestamp}.".encode() + body
    signature = base64.b64encode(hmac.new(key, text, hashlib.sha256).digest()).decode()
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(timestamp),
        "webhook-signature": f"v1,{signature}",
    }
