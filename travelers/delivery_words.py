"""What a tablet shows of deliveries, in the shop's language: operators, drivers and customers read it."""

from __future__ import annotations

from shared.words import say
from travelers.languages import shop_language, speaking


def delivery_words(*, is_tablet: bool) -> dict[str, str]:
    """By name, each text of the pages; in the office in English."""
    with speaking(shop_language() if is_tablet else "en"):
        return {
            "deliveries": say("Deliveries"),
            "waiting": say("Ready to leave"),
            "none": say("Nothing waits to leave. The office puts deliveries together on the order's page."),
            "open": say("Open"),
            "back": say("All deliveries"),
            "station": say("Back to the station"),
            "line": say("Line"),
            "quantity": say("Quantity"),
            "what": say("What"),
            "tag": say("Tag"),
            "sign": say("Received in good order, counted"),
            "name": say("Name of the person who takes it over"),
            "box": say("Sign in this box with a finger"),
            "clear": say("Clear"),
            "received": say("Received"),
            "on_paper": say("Signed on paper"),
            "pdf": say("Delivery note, PDF"),
            "to_come": say("Still to come"),
            "needs_name": say("Type the name first."),
            "needs_sign": say("Sign in the box first."),
            "sending": say("Sending."),
            "done": say("Received. The delivery note has the signature."),
            "kept": say("Kept on this tablet, not sent: no connection. It is sent again by itself."),
            "not_kept": say("Not sent: no connection. Stay on this page; it is sent again by itself."),
            "signed_out": say("Kept on this tablet, not sent: nobody is signed in here."),
            "send": say("Send now"),
            "kept_one": say("A signature is kept on this tablet and not sent yet."),
        }


__all__ = ["delivery_words"]
