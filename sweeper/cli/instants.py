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


def between(since: str | None, to: str | None) -> tuple[datetime | None, datetime | None]:
    """The instants of ``--from`` and ``--to``, in that order."""
    start, end = instant(since, "--from"), instant(to, "--to")
    if start is not None and end is not None and start >= end:
        raise WrongInput(
            f"--from: {since} is not before --to {to}, so no reading can lie between. Change one."
        )
    return start, end
