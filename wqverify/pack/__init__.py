"""The audit pack: a month of the book for somebody with a locked laptop."""

from wqverify.pack.making import Made, make_pack

__all__ = ["Made", "make_pack"]
