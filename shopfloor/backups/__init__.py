"""Backups of the shop: one file each, made while the shop works, put back all or nothing.

`archive.py` is the file, `folders.py` where it lies and which are kept, `sqlite.py` and `postgresql.py` with `tools.py`
the two databases, `services.py` what the commands call.
"""
