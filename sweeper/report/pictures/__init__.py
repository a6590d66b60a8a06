"""The pictures of the report: each answers one question, and its title states what it found."""
