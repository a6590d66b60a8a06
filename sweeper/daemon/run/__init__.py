"""Pass after pass: when the next is due, who is told, and what becomes of each. Knows no socket."""
