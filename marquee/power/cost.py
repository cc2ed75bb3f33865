"""Watts, watt-hours and money: what the box gets, what the wall gives, what it costs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningCost:
    """Power as planned [W], energy per hour [Wh], and its price, None without a tariff."""

    dc_w: float
    wall_w: float
    energy_wh_per_hour: float
    cost_per_hour: float | None

    @property
    def supply_loss_w(self) -> float:
        """Heat of the supply itself [W]."""
        return self.wall_w - self.dc_w


def running_cost(dc_w: float, efficiency: float, tariff_per_kwh: float | None) -> RunningCost:
    """Return what a DC load costs at the wall: P / η, one hour of it, and its price.

    Examples
    --------
    >>> cost = running_cost(54.0, 0.83, 0.16)
    >>> round(cost.wall_w, 1), round(cost.cost_per_hour * 4 * 365, 2)
    (65.1, 15.2)
    """
    wall_w = dc_w / efficiency
    price = None if tariff_per_kwh is None else wall_w / 1000 * tariff_per_kwh
    return RunningCost(dc_w=dc_w, wall_w=wall_w, energy_wh_per_hour=wall_w, cost_per_hour=price)
