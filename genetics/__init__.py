"""Exact genetics of a pairing and the evidence in pools; no Django, no files, no clock."""
