"""Signatures on the page: the plant authority, signing, the strict check."""

from wqverify.signing.keys import KeyStore

__all__ = ["KeyStore"]
