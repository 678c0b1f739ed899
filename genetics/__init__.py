"""Exact genetics of a pairing and the evidence in pooled clutches; no Django, no files, no clock."""
