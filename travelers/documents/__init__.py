"""Printed papers: plain data in, PDF bytes out. No Django, no database.

`data` holds the dataclasses. `traveler`, `labels` and `packing_list` each have one public function.
"""
