"""Sockets and pseudo-terminals, what can happen to bytes on them, and what was said. Knows no instrument."""
