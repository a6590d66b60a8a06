"""Instants as people write them on the command line."""

from datetime import UTC, datetime

from sweeper.errors import WrongInput


def instant(text: str | None, option: str) -> datetime | None:
    """An aware UTC instant from RFC 3339 text; a time without a zone is taken as UTC."""
    if text is None:
        return None
    try:
        parsed = datetime.fromisoformat(text)
    except ValueError:
        raise WrongInput(
            f"{option}: {text!r} is no date and time. Write it as 2026-11-01T16:00Z or 2026-11-01."
        ) from None
    return parsed.replace(tzinfo=UTC) if parsed.tzinfo is None else parsed.astimezone(UTC)
