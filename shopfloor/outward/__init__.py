"""What goes out to other systems: `signing.py` signs a message, `reaching.py` sends one, `webhooks.py` are the
services, `sending.py` the thread that tells the events in their order, `programs.py` keys with scopes."""
