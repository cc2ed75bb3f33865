"""Watts, watt-hours and money: what the box gets, what the wall gives, what it costs."""

from __future__ import annotations

from dataclasses import dataclass

# Between sellers of one part currents differ by a factor of 1.6 (33.5 and 52.5 mA measured, pjrc.com), the plan
# taking the larger ones; a tenth more is the supply's and the meter's: common practice, no source.
_METER_LOW, _METER_HIGH = 0.6, 1.1


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningCost:
    """Power as planned [W], of which `efficiency` comes out as DC, energy per hour [Wh], its price or None."""

    dc_w: float
    efficiency: float
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
    return RunningCost(
        dc_w=dc_w,
        efficiency=efficiency,
        wall_w=wall_w,
        energy_wh_per_hour=wall_w,
        cost_per_hour=price,
    )


def month(
    cost: RunningCost, hours_per_day: float | None, cabinets: int
) -> tuple[float, float | None] | None:
    """Return kWh and price of a month for all cabinets, None where the hours are not stated.

    A month is 365 / 12 days.
    """
    if hours_per_day is None:
        return None
    hours = hours_per_day * 365 / 12 * cabinets
    price = None if cost.cost_per_hour is None else cost.cost_per_hour * hours
    return cost.energy_wh_per_hour * hours / 1000, price


def meter_note(measured_w: float, cost: RunningCost) -> str:
    """Return what a plug-in meter's reading says about the estimate, in one sentence."""
    if measured_w < _METER_LOW * cost.wall_w:
        verdict = "less than the part's figures allow: check that all zones were lit as planned"
    elif measured_w <= _METER_HIGH * cost.wall_w:
        verdict = "within what parts and supplies differ by"
    else:
        verdict = "more than planned: look for a wrong part, wrong bytes or a short before trusting the wiring"
    share = f"{measured_w / cost.wall_w:.0%} of" if cost.wall_w else "beside"
    return (
        f"Your meter's {measured_w:g} W are {share} the {cost.wall_w:.1f} W estimated at the wall:"
        f" {verdict}."
    )
