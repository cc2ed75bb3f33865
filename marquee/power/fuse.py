"""Fuses: one at the supply's end of every feed's plus wire, Ib / 0.75 ≤ In ≤ Iz."""

from __future__ import annotations

import functools

from marquee.errors import MarqueeError
from marquee.power.tables import cited, figure, power_table
from marquee.power.wire import Wire, wire_sizes


@functools.cache
def fuse_ratings_a() -> tuple[float, ...]:
    """Return the blade fuse ratings there are [A], smallest first."""
    return tuple(sorted(float(row["rating_a"]) for row in power_table("fuses.toml")["blade"]))


def fuse_rule(key: str) -> float:
    """Return a rule of ``fuses.toml``, such as ``load_fraction``."""
    return figure("fuses.toml", "rules", key)


def fuse_cite(key: str) -> str:
    """Return where a rule of ``fuses.toml`` stands."""
    row = power_table("fuses.toml")["rules"][key]
    return f"fuse, {key.replace('_', ' ')} {row['value']:g}: {cited(row)}"


def least_rating_a(load_a: float) -> float:
    """Return the smallest rating that stands a continuous load [A]: Ib / 0.75."""
    return load_a / fuse_rule("load_fraction")


def fuse_fits(load_a: float, wire: Wire) -> float | None:
    """Return the fuse for a load on a wire [A], or None where no standard rating fits between both limits.

    Ib ≤ In ≤ Iz as in IEC 60364-4-43 433.1, with Ib raised to Ib / 0.75.

    Examples
    --------
    >>> from marquee.power.wire import wire_named
    >>> fuse_fits(4.77, wire_named("16AWG", ""))
    7.5
    >>> fuse_fits(4.77, wire_named("18AWG", "")) is None
    True
    """
    least_a = least_rating_a(load_a) * (1 - 1e-9)
    fit = next((rating for rating in fuse_ratings_a() if rating >= least_a), None)
    return fit if fit is not None and fit <= wire.current_a else None


def fuse_for(load_a: float, wire: Wire, where: str, dimmer: str | None = None) -> float:
    """Return the fuse for a load on a wire [A].

    Parameters
    ----------
    load_a : float
        Continuous load [A].
    wire : Wire
        To be protected.
    where : str
        The feed, for the message.
    dimmer : str, optional
        How less light would do, for the message.

    Raises
    ------
    MarqueeError
        No standard rating stands the load and protects the wire: both limits, and three ways out.
    """
    fit = fuse_fits(load_a, wire)
    if fit is not None:
        return fit
    least_a = least_rating_a(load_a)
    system = "metric" if wire.awg is None else "awg"
    thicker = next(
        (w.name for w in wire_sizes(system) if fuse_fits(load_a, w) is not None),
        "no single wire in wire.toml",
    )
    share = share_that_fits(load_a, wire)
    if dimmer is None:
        dimmer = f"cut the load to {share:.0%}" if share > 0 else "take a part that draws less"
    raise MarqueeError(
        where,
        f"carries {load_a:.2f} A and needs a fuse of at least {least_a:.2f} A (load / 0.75), but"
        f" {wire.name} is protected up to {wire.current_a:g} A only{_excess(least_a, wire)}",
        f"take {thicker}, or join the chain at more places, or {dimmer}",
    )


def _excess(least_a: float, wire: Wire) -> str:
    over_a = least_a - wire.current_a
    if over_a > 0:
        return f", {over_a:.2f} A too little"
    return ", and no standard fuse lies between"


def share_that_fits(load_a: float, wire: Wire) -> float:
    """Return the share of a load, in whole per cent, that the largest fuse of a wire stands."""
    largest_a = max((r for r in fuse_ratings_a() if r <= wire.current_a), default=0.0)
    return max(0.0, min(1.0, int(100 * largest_a * fuse_rule("load_fraction") / load_a) / 100))
