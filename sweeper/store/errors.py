"""What can go wrong with stored data."""

from sweeper.errors import UserFacingError, WrongInput


class StoreError(UserFacingError):
    """Data cannot be written or read: what happened to which file, what it means, what to do."""


class BadRows(WrongInput):
    """A file of readings that is refused whole, with every bad line named."""
