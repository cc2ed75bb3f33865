"""Junctions and rim ends moved to where the lines meeting there are shortest."""

from __future__ import annotations

import numpy as np

from marquee.box.ground import Floats, Ground
from marquee.box.network import Line, Network
from marquee.box.taut import Shores, pull_taut

_MOST_ROUNDS, _STILL_MM = 60, 0.01
# Pictures of noise have thousands of junctions; their places then matter less than an answer in time.
_NODE_MOVES = 6_000
_SLIDES_MM = (2.0, 0.5, 0.1)
_AROUND = np.stack([np.cos(np.arange(16) * np.pi / 8), np.sin(np.arange(16) * np.pi / 8)], axis=1)
# A place this little inside land counts as free: paths touch the land they are pulled around [mm].
_TOUCH_MM = 0.03


class Sea:
    """Where there is no land."""

    def __init__(self, ground: Ground) -> None:
        self.depth = np.maximum(ground.depth_mm, -100.0)
        self.step = ground.step_mm

    def depth_mm(self, places: Floats) -> Floats:
        """Return how far inside land each of (n, 2) places is, bilinear between pixels [mm]."""
        height, width = self.depth.shape
        x = np.clip(places[:, 0] / self.step - 0.5, 0, width - 1)
        y = np.clip(places[:, 1] / self.step - 0.5, 0, height - 1)
        x0, y0 = np.minimum(x.astype(int), width - 2), np.minimum(y.astype(int), height - 2)
        fx, fy = x - x0, y - y0
        d = self.depth
        top = d[y0, x0] * (1 - fx) + d[y0, x0 + 1] * fx
        low = d[y0 + 1, x0] * (1 - fx) + d[y0 + 1, x0 + 1] * fx
        return np.asarray(top * (1 - fy) + low * fy, float)

    def free_share(self, start: Floats, stop: Floats) -> float:
        """Return the share of the way from start to stop that is free from the start on."""
        n = int(np.hypot(*(stop - start)) / (self.step / 2)) + 2
        t = np.linspace(0, 1, n)[1:]
        blocked = self.depth_mm(start + t[:, None] * (stop - start)) > _TOUCH_MM
        first = int(np.argmax(blocked)) if blocked.any() else len(t)
        return 1.0 if first == len(t) else float(t[first - 1]) if first else 0.0


def relax(network: Network, ground: Ground, shores: Shores) -> None:
    """Pull all lines taut and move their ends until nothing gets shorter."""
    sea = Sea(ground)
    pull_taut(network, shores)
    before, best = network.total_mm, network.copy()
    worse = 0
    rounds = int(np.clip(_NODE_MOVES // max(len(network.node_mm), 1), 0, _MOST_ROUNDS))
    for _ in range(rounds):
        if not _move_nodes(network, sea):
            break
        pull_taut(network, shores)
        now = network.total_mm
        if now < best.total_mm:
            best = network.copy()
        worse = worse + 1 if now > before - 0.01 else 0
        if worse > 4:
            break
        before = now
    if best.total_mm < network.total_mm:
        network.lines, network.node_mm = best.lines, best.node_mm


def _move_nodes(network: Network, sea: Sea) -> bool:
    neighbours: dict[int, list[Floats]] = {}
    for line in network.lines:
        if not line.closed:
            neighbours.setdefault(line.start, []).append(line.xy_mm[1])
            neighbours.setdefault(line.end, []).append(line.xy_mm[-2])
    moved = np.zeros(len(network.node_mm), bool)
    for node, ends in sorted(neighbours.items()):
        here = network.node_mm[node]
        around = np.array(ends)
        if network.on_rim[node]:
            there = _along_rim(here, around, network)
        else:
            there = _freed(here, _median(here, around), around, sea)
        if np.hypot(*(there - here)) > _STILL_MM:
            network.node_mm[node] = there
            moved[node] = True
    for line in network.lines:
        if not line.closed:
            _lengthen(line, network.node_mm, moved)
    return bool(moved.any())


def _lengthen(line: Line, node_mm: Floats, moved: np.ndarray) -> None:
    """Let the line start and end at its nodes' new places, its old ends becoming vertices."""
    xy, active = line.xy_mm, line.active
    if moved[line.start]:
        xy, active = np.vstack([node_mm[line.start], xy]), np.append([True, True], active[1:])
        active = np.append([True], np.append([True], line.active[1:]))
    if moved[line.end]:
        xy = np.vstack([xy, node_mm[line.end]])
        active = np.append(active[:-1], [True, True])
    if len(active) > 2:
        active = active.copy()
        active[1] = active[-2] = True
        if len(active) > 3:
            active[2] = active[-3] = True
    line.xy_mm, line.active = xy, active


def _median(here: Floats, around: Floats) -> Floats:
    """Return the point with the least sum of distances (Weiszfeld's iteration)."""
    place = here.copy()
    for _ in range(25):
        distance = np.maximum(np.hypot(*(around - place).T), 1e-6)
        weight = 1 / distance
        new = (around * weight[:, None]).sum(axis=0) / weight.sum()
        if np.abs(new - place).max() < 1e-4:
            return np.asarray(new)
        place = new
    return place


def _sum_mm(places: Floats, around: Floats) -> Floats:
    apart = places[:, None, :] - around[None, :, :]
    return np.asarray(np.hypot(apart[..., 0], apart[..., 1]).sum(axis=1))


def _freed(here: Floats, there: Floats, around: Floats, sea: Sea) -> Floats:
    """Return how far the way to `there` is free, or a slide along the land that blocks it."""
    share = sea.free_share(here, there)
    reached = here + share * (there - here)
    if share == 1.0 or np.hypot(*(reached - here)) > 0.1:
        return np.asarray(reached)
    now = float(_sum_mm(here[None], around)[0])
    for radius in _SLIDES_MM:
        candidates = here + radius * _AROUND
        gain = now - _sum_mm(candidates, around)
        for k in np.argsort(-gain, kind="stable"):
            if gain[k] < 0.05 * radius:
                break
            ways = [sea.free_share(here, candidates[k])]
            ways += [sea.free_share(candidates[k], n) for n in around]
            if min(ways) == 1.0:
                return np.asarray(candidates[k])
    return here


def _along_rim(here: Floats, around: Floats, network: Network) -> Floats:
    """Return the place on the rim sides `here` lies on that is nearest to the line's next vertex."""
    size = (network.width_mm, network.height_mm)
    target = around.mean(axis=0)
    options = []
    for axis in (0, 1):
        for level in (0.0, size[axis]):
            if abs(here[axis] - level) < 1e-9:
                place = np.clip(target, 0, size)
                place[axis] = level
                options.append(place)
    sums = [float(_sum_mm(p[None], around)[0]) for p in options]
    return options[int(np.argmin(sums))] if options else here
