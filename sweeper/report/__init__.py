"""Shows findings: one self-contained page, plain text for mail, tables for a terminal. Computes nothing."""

from sweeper.report.fleet_page import write_fleet_html
from sweeper.report.page import Setting, page_text, write_html
from sweeper.report.plain import as_text

__all__ = ["Setting", "as_text", "page_text", "write_fleet_html", "write_html"]
