"""The resistor network of rails, wires and fuses with LEDs as current sinks, solved exactly.

Every unknown is a deviation from the voltage its net would have without current, so that small drops
keep all their digits. With constant sinks the network is linear. With a knee (an LED's current falls
linearly to zero below its regulation voltage) the voltages minimise a convex energy,

    E(d) = ½ dᵀ G d + Σ Φ(u),   Φ'(u) = current at LED voltage u,

and Newton's method with a line search on E finds the minimum; without the line search it oscillates.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from marquee.errors import MarqueeError

Volts = NDArray[np.float64]

# A joint without resistance is given this much, so that its current can be read off: 10 A lose 1e-8 V in it.
_JOINT_OHM = 1e-9
_MOST_STEPS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Knee:
    """An LED draws its full current at `high_v` and above, none at `low_v` and below, linear between."""

    low_v: float
    high_v: float

    def current_share(self, led_v: Volts) -> Volts:
        """Return the share of the full current drawn at LED voltages (leds,)."""
        share = (led_v - self.low_v) / (self.high_v - self.low_v)
        return np.asarray(np.clip(share, 0.0, 1.0), dtype=np.float64)

    def slope_per_v(self, led_v: Volts) -> Volts:
        """Return the derivative of `current_share` [1/V]."""
        inside = (led_v > self.low_v) & (led_v < self.high_v)
        return np.where(inside, 1.0 / (self.high_v - self.low_v), 0.0)


@dataclass(slots=True)
class NetworkBuilder:
    """Collects nodes, resistors and LEDs. Node 0 is every supply's plus, node 1 their common minus."""

    count: int = 2
    start: list[int] = field(default_factory=list)
    stop: list[int] = field(default_factory=list)
    ohm: list[float] = field(default_factory=list)

    def node(self) -> int:
        """Return a new node."""
        self.count += 1
        return self.count - 1

    def resistor(self, start: int, stop: int, ohm: float) -> int:
        """Join two nodes and return the resistor's number; current counts from `start` to `stop`.

        Raises
        ------
        MarqueeError
            Negative or not finite.
        """
        if not (np.isfinite(ohm) and ohm >= 0):
            raise MarqueeError(
                "circuit", f"a resistance is {ohm} ohm", "give lengths and ohms of 0 or more"
            )
        self.start.append(start)
        self.stop.append(stop)
        self.ohm.append(max(ohm, _JOINT_OHM))
        return len(self.ohm) - 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution:
    """Voltages [V] and currents [A] of a solved network."""

    pos_v: Volts  # (leds,) plus rail at each LED
    gnd_v: Volts  # (leds,) ground rail at each LED
    led_a: NDArray[np.float64]  # (leds,) what each LED draws
    branch_a: NDArray[np.float64]  # (resistors,)
    steps: int  # linear solves it took

    @property
    def led_v(self) -> Volts:
        """Voltage across each LED [V] (leds,)."""
        return self.pos_v - self.gnd_v


def solve_network(
    net: NetworkBuilder,
    led_pos: NDArray[np.int64],
    led_gnd: NDArray[np.int64],
    led_a: NDArray[np.float64],
    supply_v: float,
    knee: Knee | None = None,
) -> Solution:
    """Solve a network of resistors and LEDs fed from one voltage.

    Parameters
    ----------
    net : NetworkBuilder
        The resistors.
    led_pos, led_gnd : ndarray of int
        Node of each LED's plus and minus (leds,).
    led_a : ndarray
        Full current of each LED [A] (leds,).
    supply_v : float
        Between node 0 and node 1 [V].
    knee : Knee, optional
        How the current falls at low voltage; None keeps it constant, whatever the voltage.

    Raises
    ------
    MarqueeError
        A part of the network has no way to the supply.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import splu

    start, stop = np.array(net.start, dtype=np.int64), np.array(net.stop, dtype=np.int64)
    conductance = 1.0 / np.array(net.ohm, dtype=np.float64)
    _refuse_floating(net.count, start, stop)
    rows = np.concatenate([start, stop, start, stop])
    cols = np.concatenate([start, stop, stop, start])
    values = np.concatenate([conductance, conductance, -conductance, -conductance])
    free = (rows > 1) & (cols > 1)
    size = net.count - 2
    laplacian = coo_array((values[free], (rows[free] - 2, cols[free] - 2)), shape=(size, size))
    matrix: Any = laplacian.tocsc()

    leds = np.arange(len(led_a))
    ends = np.concatenate([led_pos, led_gnd]) - 2
    signs = np.concatenate([np.ones(len(leds)), -np.ones(len(leds))])
    on_free = ends >= 0
    pick: Any = coo_array(
        (signs[on_free], (np.concatenate([leds, leds])[on_free], ends[on_free])),
        shape=(len(leds), size),
    ).tocsr()

    if knee is None:
        deviation, steps = splu(matrix).solve(-(pick.T @ led_a)), 1
    else:
        deviation, steps = _newton(matrix, pick, led_a, supply_v, knee)
    every = np.concatenate([[0.0, 0.0], deviation])
    led_v = supply_v + every[led_pos] - every[led_gnd]
    drawn = led_a if knee is None else led_a * knee.current_share(led_v)
    return Solution(
        pos_v=supply_v + every[led_pos],
        gnd_v=every[led_gnd],
        led_a=np.asarray(drawn, dtype=np.float64),
        branch_a=(every[start] - every[stop]) * conductance,
        steps=steps,
    )


def _newton(
    matrix: Any,  # noqa: ANN401 -- scipy's sparse classes share no public base
    pick: Any,  # noqa: ANN401
    led_a: NDArray[np.float64],
    supply_v: float,
    knee: Knee,
) -> tuple[Volts, int]:
    from scipy.sparse import diags_array
    from scipy.sparse.linalg import splu

    def gradient(at: Volts) -> Volts:
        share = knee.current_share(supply_v + pick @ at)
        return np.asarray(matrix @ at + pick.T @ (led_a * share), dtype=np.float64)

    deviation = np.zeros(matrix.shape[0])
    for step in range(1, _MOST_STEPS + 1):
        slope = gradient(deviation)
        led_v = supply_v + pick @ deviation
        curvature = diags_array(led_a * knee.slope_per_v(led_v))
        move = splu((matrix + pick.T @ curvature @ pick).tocsc()).solve(-slope)
        length = _exact_length(gradient, deviation, move)
        deviation = deviation + length * move
        if length * float(np.max(np.abs(move))) < 1e-12:
            return deviation, step
    raise AssertionError  # the energy is convex and piecewise quadratic, so Newton's method ends


def _exact_length(gradient: Any, at: Volts, move: Volts) -> float:  # noqa: ANN401
    """Where the energy's derivative along `move` crosses zero, within 0 to 1: it only ever grows."""
    if float(gradient(at + move) @ move) <= 0:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        if float(gradient(at + middle * move) @ move) > 0:
            high = middle
        else:
            low = middle
    return low if low > 0 else high


def _refuse_floating(count: int, start: NDArray[np.int64], stop: NDArray[np.int64]) -> None:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(start)), (start, stop)), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    if not np.all((label == label[0]) | (label == label[1])):
        raise MarqueeError(
            "circuit",
            "a piece of the rails has no way to the supply",
            "give every cut piece a feed, or join it by a jumper",
        )
