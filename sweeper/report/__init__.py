"""Shows findings: one self-contained page, plain text for mail, tables for a terminal. Computes nothing."""
