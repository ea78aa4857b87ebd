"""Signatures on the page: the plant authority, signing, the strict check."""
