"""The floor's worst days, against a real server over HTTP: killed, locked, out of room, its clock wrong, raced."""
