"""The sections on how a station runs: order and hours of measuring, what counts, what it offers, whom it tells."""

from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from sweeper.station.fields import Name, Section


def _from_root_or_home(file: str) -> str:
    if not file.startswith(("/", "~")) or not file.isprintable():
        raise ValueError("a path that does not depend on where the program is started")
    return file


class Plan(Section):
    """``plan:``, the order of measuring."""

    load_every: int = Field(
        default=4, ge=1, le=1000, description="Load paths are visited every so many passes, from 1."
    )
    noise_every: int = Field(
        default=16, ge=1, le=1000, description="Noise-source paths, every so many passes, from 1."
    )
    edges_a_pass: int | None = Field(
        default=None,
        ge=0,
        le=100,
        description="Carriers that get changes of route of their own in a pass; 0 for none, or leave it out.",
    )


MOST_WINDOWS = 200
"""Entries of a schedule: more than anybody writes by hand, and few enough to be gone through at every start."""


class Window(Section):
    """One of ``schedule:``: passes `every` so long or `at` moments, or a `blackout` without passes.

    Moments are clock times (``18:30``, in the station's time zone) or sun times with an offset (``sunset - 1 h``).
    """

    every: str | None = Field(default=None, description="A length of time, such as 10 min.")
    at: tuple[str, ...] | None = Field(
        default=None, description="A list of moments, such as [06:00, sunset + 30 min]."
    )
    begin: str | None = Field(
        default=None, alias="from", description="A moment, such as 18:30 or sunset - 1 h."
    )
    end: str | None = Field(default=None, alias="to", description="A moment, such as 06:30 or sunrise + 1 h.")
    weekdays: tuple[Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"], ...] | None = Field(
        default=None, min_length=1, description="A list of mon, tue, wed, thu, fri, sat, sun."
    )
    blackout: bool = Field(default=False, description="true: no passes in this window.")

    @model_validator(mode="after")
    def _one_meaning(self) -> Self:
        meanings = [self.every is not None, self.at is not None, self.blackout]
        if sum(meanings) != 1:
            raise ValueError("a window has exactly one of `every`, `at` and `blackout: true`")
        if (self.begin is None) != (self.end is None):
            raise ValueError("a window has both `from` and `to`, or neither")
        if self.at is not None and self.begin is not None:
            raise ValueError("`at` names moments; `from` and `to` belong to `every` or `blackout`")
        return self


class Analysis(Section):
    """``analysis:``: what counts as worthwhile, in dB, and the confidence, 0 to 1."""

    worthwhile_db: float = Field(
        default=1.0, gt=0, le=30, description="The smallest S/N change worth switching for, above 0 dB."
    )
    confidence: float = Field(default=0.95, gt=0.5, lt=1, description="Between 0.5 and 1, such as 0.95.")


class Live(Section):
    """``live:``, what a running daemon offers beyond the local sockets in the data folder."""

    publish: str | None = Field(
        default=None,
        pattern=r"^tcp://[^/\s]+:\d+$",
        description="Where to publish across a network, such as tcp://0.0.0.0:5750; needs keys.",
    )
    control: str | None = Field(
        default=None,
        pattern=r"^tcp://[^/\s]+:\d+$",
        description="Where to take requests across a network, such as tcp://0.0.0.0:5751; needs keys.",
    )
    keys: Name | None = Field(
        default=None,
        description="The name of a folder inside the data folder, with the CURVE keys that `sweeper keys` made.",
    )
    metrics_port: int | None = Field(
        default=None,
        ge=0,
        le=65_535,
        description="A port on the loopback address for Prometheus metrics, such as 9105.",
    )

    @model_validator(mode="after")
    def _keys_across_a_network(self) -> Self:
        if (self.publish or self.control) and not self.keys:
            raise ValueError("across a network the live sockets need keys")
        return self


class Notify(Section):
    """``notify:``, messages to whoever keeps the station; where they go stands in a file of its own."""

    file: Annotated[str, AfterValidator(_from_root_or_home)] = Field(
        description="The file with the addresses, one a line: its whole path, or one that begins with ~/."
    )
    morning: bool = Field(default=True, description="false: no message when the night's last pass is over.")
    at_once: bool = Field(default=True, description="false: no message at once when something needs a hand.")


class Store(Section):
    """``store:``, what stays of spectra, where levels come from samples or sound."""

    keep_spectra_days: int = Field(
        default=14,
        ge=0,
        le=3650,
        description="Days that spectra are kept whole; of older ones a picture an hour stays.",
    )
