"""Shows findings: one self-contained page, plain text for mail, tables for a terminal. Computes nothing."""

from sweeper.report.plain import as_text

__all__ = ["as_text"]
