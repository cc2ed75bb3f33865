"""From exact drives to the whole codes whose light comes nearest the wanted colour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.colour.constants import D65_XYZ, LAB_EPSILON, LAB_KAPPA
from marquee.colour.difference import delta_e_2000
from marquee.colour.solve import Emitters, along_fourth
from marquee.colour.spaces import lab_to_xyz, xyz_to_lab

# Searching further than this around the exact code found nothing better in 318 worked cases.
_BEYOND = 2
# Of four emitters' many near solutions, how many are compared by the full formula.
_SHORT_LIST = 96
# Rounding of a difference below which two choices count as equal, so that ties break by rule, not by noise.
TIE_DECIMALS = 6
# A lower global current setting has to land nearer by more than this: it flickers slower on some parts.
_LOWER_SETTING = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """Codes (z, n), their CIEDE2000 from the wanted colour (z,), and the global code (z,) where there is one."""

    codes: NDArray[np.int64]
    delta_e_2000: NDArray[np.float64]
    global_code: NDArray[np.int64] | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wanted:
    """What the codes are to meet: Lab (z, 3) under D65, the white's intensity (z,) [cd], exact drives (z, n)."""

    lab: NDArray[np.float64]
    scale_cd: NDArray[np.float64]
    drive: NDArray[np.float64]

    def rows(self, which: NDArray[np.int64] | slice) -> Wanted:
        """Return some of the zones."""
        return Wanted(lab=self.lab[which], scale_cd=self.scale_cd[which], drive=self.drive[which])


def code_of_light(
    light: NDArray[np.float64], response: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the fractional code whose light, between the table's rows, is `light` (0 to 1).

    `response` is (256,), or (n, 256) for channels of their own along the last axis of `light`.
    """
    if response.ndim == 2:
        rows = [code_of_light(light[..., c], row) for c, row in enumerate(response)]
        return np.stack(rows, axis=-1)
    return np.asarray(np.interp(light, response, np.arange(len(response))), float)


def light_of_code(codes: NDArray[np.int64], response: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the light of codes (…, n), `response` being (256,) or (n, 256)."""
    if response.ndim == 2:
        return np.asarray(response[np.arange(len(response)), codes], float)
    return np.asarray(response[codes], float)


def light_between(
    codes: NDArray[np.float64], response: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the mean light of codes (…, n) shared out between whole ones, `response` being (256,) or (n, 256)."""
    if response.ndim == 2:
        rows = [light_between(codes[..., c], row) for c, row in enumerate(response)]
        return np.stack(rows, axis=-1)
    return np.asarray(np.interp(codes, np.arange(len(response)), response), float)


def nearest_code(light: NDArray[np.float64], response: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return the code whose light is nearest; between two equally near ones, the lower."""
    if response.ndim == 2:
        rows = [nearest_code(light[..., c], row) for c, row in enumerate(response)]
        return np.stack(rows, axis=-1)
    above = np.clip(np.searchsorted(response, light), 1, len(response) - 1)
    lower_is_nearer = light - response[above - 1] <= response[above] - light
    return np.asarray(np.where(lower_is_nearer, above - 1, above), np.int64)


def choose_codes(
    wanted: Wanted,
    part: Emitters,
    response: NDArray[np.float64],
    global_top: int = 0,
    current_saving: float = 0.009,
) -> Choice:
    """Return the codes of least CIEDE2000 near the exact drives; never worse than rounding each channel.

    Parameters
    ----------
    wanted : Wanted
        Colours, their white's intensity and their exact drives.
    part : Emitters
        Its columns give the light at full drive.
    response : (256,) or (n, 256)
        Light of each code, 0 to 1, the same for all channels or each its own.
    global_top : int
        Largest global current setting, 0 where the part has none: each zone gets the setting that lands best.
    current_saving : float
        With more than three emitters, codes this much further off (CIEDE2000) are taken where they draw less.
    """
    if global_top:
        return _with_global(wanted, part, response, global_top)
    if part.count == 4:
        return _best(_four(wanted, part, response), wanted, part, response, current_saving)
    tries = _box(wanted, response, _BEYOND if part.count == 3 else 0)
    return _best(tries, wanted, part, response, current_saving)


def near_codes(
    wanted: Wanted, part: Emitters, response: NDArray[np.float64], count: int
) -> NDArray[np.int64]:
    """Return the codes (z, count, n) of least CIEDE2000 in the box around the exact ones, nearest first."""
    tries = _box(wanted, response, 1 if part.count <= 4 else 0)
    order = np.argsort(
        error_of(light_of_code(tries, response), wanted, part), axis=1, kind="stable"
    )[:, :count]
    return np.take_along_axis(tries, order[..., None], axis=1)


def error_of(light: NDArray[np.float64], wanted: Wanted, part: Emitters) -> NDArray[np.float64]:
    """Return CIEDE2000 (z, …) of the light fractions (z, …, n) from what is wanted."""
    extra = (1,) * (light.ndim - 2)
    scale = wanted.scale_cd.reshape(-1, *extra, 1)
    labs = xyz_to_lab(light @ part.columns / scale, D65_XYZ)
    return delta_e_2000(wanted.lab.reshape(-1, *extra, 3), labs)


def _box(wanted: Wanted, response: NDArray[np.float64], beyond: int) -> NDArray[np.int64]:
    """Return the codes (z, m, n) from `beyond` under to `beyond` over the two on either side of the exact ones."""
    floor = np.floor(code_of_light(wanted.drive, response) + 1e-9).astype(np.int64)
    box = floor[:, None, :] + offsets(wanted.drive.shape[1], -beyond, 1 + beyond)
    return np.asarray(np.clip(box, 0, response.shape[-1] - 1), np.int64)


def _best(
    tries: NDArray[np.int64],
    wanted: Wanted,
    part: Emitters,
    response: NDArray[np.float64],
    current_saving: float,
) -> Choice:
    """Pick, per zone, by the difference; then by current, by the sum of codes, by the first channel's."""
    errors = np.round(error_of(light_of_code(tries, response), wanted, part), TIE_DECIMALS)
    least = errors.min(axis=1, keepdims=True)
    # Three emitters have no choice of current for one colour: there the least difference alone decides.
    allowed = errors <= least + (current_saving if part.count > 3 else 0.0)
    draw = np.zeros(errors.shape)
    if part.count > 3:
        draw = np.round(_draw(light_of_code(tries, response), part), 9)
    by_channel = (tries[..., c] for c in range(part.count - 1, -1, -1))
    # What decides last comes first.
    order = np.lexsort((*by_channel, tries.sum(axis=-1), errors, draw, ~allowed), axis=1)[:, 0]
    rows = np.arange(len(tries))
    codes = tries[rows, order]
    return Choice(codes=codes, delta_e_2000=error_of(light_of_code(codes, response), wanted, part))


def _draw(light: NDArray[np.float64], part: Emitters) -> NDArray[np.float64]:
    drawn = light * part.current
    return np.asarray(drawn.max(axis=-1) if part.largest else drawn.sum(axis=-1), float)


def _four(wanted: Wanted, part: Emitters, response: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return likely codes (z, m, 4): every code of the fourth emitter that can take part, the others around what is left."""
    xyz = wanted.drive @ part.columns
    base, slope, low, high = along_fourth(xyz, part)
    metric = _metric(wanted)
    beside = offsets(3, -1, 2)
    plain = _box(wanted, response, 0)
    short = np.empty((len(xyz), _SHORT_LIST + plain.shape[1], 4), np.int64)
    short[:, _SHORT_LIST:] = plain
    top = response.shape[-1] - 1
    last = response if response.ndim == 1 else response[3]
    first_three = response if response.ndim == 1 else response[:3]
    floor = np.floor(code_of_light(np.clip(low, 0, 1), last)).astype(np.int64) - 1
    ceiling = np.ceil(code_of_light(np.clip(np.maximum(high, low), 0, 1), last)) + 1
    for zone in range(len(xyz)):
        fourth = np.arange(max(floor[zone], 0), min(int(ceiling[zone]), top) + 1)
        rest = np.clip(base[zone] - last[fourth, None] * slope, 0.0, 1.0)
        around = np.floor(code_of_light(rest, first_three) + 1e-9).astype(np.int64)
        tries = np.clip(around[:, None, :] + beside, 0, top)
        # The error in XYZ is linear in light, so it is compared in that form first; the full formula
        # then judges a short list.
        off = light_of_code(tries, first_three) @ part.columns[:3]
        off += (last[fourth, None] * part.columns[3] - xyz[zone])[:, None, :]
        rough = np.square(off.reshape(-1, 3) @ metric[zone]).sum(axis=1)
        count = min(_SHORT_LIST, len(rough))
        first = np.argpartition(rough, count - 1)[:count]
        picked = short[zone, :_SHORT_LIST]
        picked[:count, :3] = tries.reshape(-1, 3)[first]
        picked[:count, 3] = np.repeat(fourth, len(beside))[first]
        picked[count:] = picked[0]
    return short


def _metric(wanted: Wanted) -> NDArray[np.float64]:
    """Return (z, 3, 3): an error in XYZ [cd] times it has, squared and summed, about CIEDE2000 squared."""
    step = 0.01
    unit = np.eye(3) * step
    diagonal = delta_e_2000(wanted.lab[:, None, :], wanted.lab[:, None, :] + unit) ** 2
    metric = np.zeros((len(wanted.lab), 3, 3))
    for i in range(3):
        metric[:, i, i] = diagonal[:, i]
        for j in range(i):
            both = delta_e_2000(wanted.lab, wanted.lab + unit[i] + unit[j]) ** 2
            metric[:, i, j] = metric[:, j, i] = (both - diagonal[:, i] - diagonal[:, j]) / 2
    values, vectors = np.linalg.eigh(metric / step**2)
    root = vectors * np.sqrt(np.maximum(values, 1e-9))[:, None, :]
    # dLab/dXYZ at the wanted colour: the derivative of the cube root, or its straight part.
    t = lab_to_xyz(wanted.lab, D65_XYZ) / D65_XYZ
    slope = np.where(t > LAB_EPSILON, np.maximum(t, 1e-9) ** (-2 / 3) / 3, LAB_KAPPA / 116)
    slope = slope / D65_XYZ / wanted.scale_cd[:, None]
    lab_of_f = np.array([[0, 500.0, 0], [116.0, -500.0, 200.0], [0, 0, -200.0]])
    return np.asarray((slope[:, :, None] * lab_of_f) @ root, float)


def _with_global(
    wanted: Wanted, part: Emitters, response: NDArray[np.float64], top: int
) -> Choice:
    """Try every global setting the zone's largest drive allows, each with the codes around the exact ones."""
    best_error = np.full(len(wanted.drive), np.inf)
    best_codes = np.zeros(wanted.drive.shape, np.int64)
    best_global = np.full(len(wanted.drive), top, np.int64)
    # From the highest setting down: a lower one has to be better by more than a tie.
    for setting in range(top, 0, -1):
        share = setting / top
        rows = np.flatnonzero(wanted.drive.max(axis=1) <= share * (1 + 1e-12))
        if not len(rows):
            break
        some = wanted.rows(rows)
        scaled = Wanted(
            lab=some.lab, scale_cd=some.scale_cd / share, drive=np.minimum(some.drive / share, 1.0)
        )
        found = _best(_box(scaled, response, 0), scaled, part, response, 0.0)
        better = found.delta_e_2000 < best_error[rows] - _LOWER_SETTING
        chosen = rows[better]
        best_error[chosen] = found.delta_e_2000[better]
        best_codes[chosen] = found.codes[better]
        best_global[chosen] = setting
    return Choice(codes=best_codes, delta_e_2000=best_error, global_code=best_global)


def offsets(n: int, first: int, last: int) -> NDArray[np.int64]:
    """Return all rows (m, n) of whole numbers from `first` to `last`."""
    axes = [np.arange(first, last + 1)] * n
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, n)
