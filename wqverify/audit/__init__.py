"""Examine a signed file against itself and the book; run records again, one or many."""

from wqverify.audit.again import How, chunks, count, rerun_book, rerun_file, run_chunk
from wqverify.audit.chains import compare_certificates, compare_pages, examine_book, unfinished
from wqverify.audit.files import Examined, against_book, against_journal, examine_file
from wqverify.audit.reading import book_of, list_records, read_pdf
from wqverify.audit.sample import Sample, draw, through_notebooks
from wqverify.audit.workers import HERE, Workers

__all__ = [
    "HERE",
    "Examined",
    "How",
    "Sample",
    "Workers",
    "against_book",
    "against_journal",
    "book_of",
    "chunks",
    "compare_certificates",
    "compare_pages",
    "count",
    "draw",
    "examine_book",
    "examine_file",
    "list_records",
    "read_pdf",
    "rerun_book",
    "rerun_file",
    "run_chunk",
    "through_notebooks",
    "unfinished",
]
