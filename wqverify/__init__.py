"""wqverify: verification records for the online analyzers of a drinking-water plant."""

__version__ = "0.1.0"
