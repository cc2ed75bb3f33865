"""What the LEDs draw: at worst, as planned, at the peak of the hue cycle and when all are dark.

Currents are at the supply's terminals. A part's drivers switch each channel on and off (or set its
current) so that the mean current follows the light, not the byte: a byte goes through the part's response
first. Where no response was measured the part's file says linear, and so do these figures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from marquee.colour.spread import led_codes
from marquee.errors import Finding, MarqueeError
from marquee.values import Chain, Drive, Part, ZoneDrive, read_only

Amps = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Load:
    """Currents per LED [A] (leds,), the extra load beside them [A], and what was not known.

    `lit_a` comes on top of `dark_a` when every channel is full. `planned_a` and `planned_high_a` are the
    plan's bytes with the typical and with the largest channel currents, mean over the hue cycle;
    `peak_a` is the cycle's hungriest step; all three include the dark current.
    """

    dark_a: Amps
    lit_a: Amps
    planned_a: Amps
    planned_high_a: Amps
    peak_a: Amps
    extra_a: float
    driven: bool = True  # False: no bytes given, so planned means full
    cites: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def worst_total_a(self) -> float:
        """Every channel of every LED full, dark current and extra load included [A]."""
        return float(np.sum(self.lit_a) + np.sum(self.dark_a)) + self.extra_a

    @property
    def planned_total_a(self) -> float:
        """As planned, mean over the hue cycle, extra load included [A]."""
        return float(np.sum(self.planned_a)) + self.extra_a

    @property
    def peak_total_a(self) -> float:
        """The planned bytes' hungriest step with the part's largest currents, extra load included [A]."""
        return float(np.sum(self.peak_a)) + self.extra_a

    @property
    def dark_total_a(self) -> float:
        """Every LED dark, extra load included [A]."""
        return float(np.sum(self.dark_a)) + self.extra_a

    def held_share(self, brightness_cap: float) -> float:
        """Return the share of the planned light left where the firmware keeps a cap.

        It dims the whole sign by one factor, so that at the hungriest step neither any LED nor the sum
        exceeds the capped share of full.
        """
        peak_a = self.peak_a - self.dark_a
        limits = [
            brightness_cap * float(np.max(self.lit_a)) / max(float(np.max(peak_a)), 1e-12),
            brightness_cap * float(np.sum(self.lit_a)) / max(float(np.sum(peak_a)), 1e-12),
        ]
        return min(1.0, *limits)

    def running_total_a(self, brightness_cap: float, plan_fits: bool = False) -> float:
        """Return the planned current as the cap holds it, extra load included [A]; held by nothing if it fits."""
        lit_a = self.planned_total_a - self.dark_total_a
        share = 1.0 if plan_fits else self.held_share(brightness_cap)
        return self.dark_total_a + share * lit_a

    def at_cap(self, brightness_cap: float) -> Amps:
        """Return the current of each LED [A] when all channels are held to a share of full (0 to 1)."""
        return np.asarray(self.dark_a + brightness_cap * self.lit_a, dtype=np.float64)


def full_current_a(part: Part, channel_a: tuple[float, ...]) -> float:
    """Return what one package draws on top of its dark current with every channel full [A].

    The part's own law: the sum of the channels (a W die counts as any other), or the largest one.
    """
    return max(channel_a) if part.current_law == "largest" else float(sum(channel_a))


def driven_current_a(
    part: Part,
    channel_a: tuple[float, ...],
    codes: tuple[int, ...],
    global_code: int | None = None,
) -> float:
    """Return what one package draws on top of its dark current for the bytes sent [A].

    Parameters
    ----------
    part : Part
        Its response turns a byte into the share of time (or of current) the channel is on.
    channel_a : tuple of float
        Current of each channel at full drive, in the part's order [A].
    codes : tuple of int
        Bytes 0 to 255, in the part's order.
    global_code : int, optional
        The part's global current setting; None or a part without one means full.
    """
    share = part.global_share(global_code)
    each = tuple(
        response[code] * amps * share
        for response, code, amps in zip(part.responses, codes, channel_a, strict=True)
    )
    return full_current_a(part, each)


def find_load(chain: Chain, part: Part, drive: Drive | None, extra_a: float) -> Load:
    """Return the currents of a chain as driven.

    Parameters
    ----------
    chain : Chain
        LEDs and their zones; zone -1 stays dark and draws the dark current all the same.
    part : Part
        Currents at full drive, dark current, law and response. One place of the chain is one address
        on the data line, and the part's currents are those of one address.
    drive : Drive or None
        The plan's bytes; None means every channel full.
    extra_a : float
        Controller, level shifter, shelf lamps on the same supply [A].

    Raises
    ------
    MarqueeError
        The part's file gives no channel current above 0, or the chain has no LED.
    """
    if chain.count == 0:
        raise MarqueeError("power", "the chain has no LED", "use a smaller pitch or a larger face")
    typical_a, largest_a, findings = _channel_currents(part)
    dark_one_a, more = _dark_current(part)
    findings += more
    dark_a = np.full(chain.count, dark_one_a)
    lit_a = np.full(chain.count, full_current_a(part, largest_a))
    if drive is None:
        planned, high, peak = (
            np.full(chain.count, full_current_a(part, typical_a)),
            lit_a.copy(),
            lit_a.copy(),
        )
    else:
        planned, _ = _driven(chain, part, drive, typical_a)
        high, peak = _driven(chain, part, drive, largest_a)
    return Load(
        dark_a=read_only(dark_a),
        lit_a=read_only(lit_a),
        planned_a=read_only(planned + dark_a),
        planned_high_a=read_only(high + dark_a),
        peak_a=read_only(peak + dark_a),
        extra_a=extra_a,
        driven=drive is not None,
        cites=_cites(part),
        findings=findings,
    )


def _driven(
    chain: Chain, part: Part, drive: Drive, channel_a: tuple[float, ...]
) -> tuple[Amps, Amps]:
    """Mean over the cycle and hungriest step, without dark current (leds,) [A]."""
    steady = {zone.zone: _steady(part, channel_a, zone) for zone in drive.zones}
    steps = () if drive.hue_cycle is None else drive.hue_cycle.codes
    cycle = [driven_current_a(part, channel_a, codes) for codes in steps] or [0.0]
    mean, peak = np.zeros(chain.count), np.zeros(chain.count)
    for zone in np.unique(chain.zone[chain.zone >= 0]):
        held = steady.get(int(zone))
        mean[chain.zone == zone] = float(np.mean(cycle)) if held is None else held
        peak[chain.zone == zone] = max(cycle) if held is None else held
    return mean, peak


def _steady(part: Part, channel_a: tuple[float, ...], zone: ZoneDrive) -> Amps | float:
    """Return what each LED of a zone draws [A]; one by one where neighbouring codes are shared out."""
    if zone.spread is None:
        return driven_current_a(part, channel_a, zone.codes, zone.global_code)
    return np.array(
        [
            driven_current_a(part, channel_a, tuple(int(c) for c in codes), zone.global_code)
            for codes in led_codes(zone.spread)
        ]
    )


def _channel_currents(
    part: Part,
) -> tuple[tuple[float, ...], tuple[float, ...], tuple[Finding, ...]]:
    typical_a, largest_a = part.channel_current_a, part.channel_current_max_a
    known = [currents for currents in (typical_a, largest_a) if currents and any(currents)]
    if not known:
        raise MarqueeError(
            f"part {part.name}",
            "no channel current is known, so neither supply nor wire can be sized",
            f"add {', '.join(_current_keys(part))} to its file, measured if need be",
        )
    if len(known) == 1:
        told = _typical_only(part) if known[0] is typical_a else _largest_only(part)
        return known[0], known[0], (told,)
    return known[0], tuple(max(pair) for pair in zip(*known, strict=True)), ()


def _typical_only(part: Part) -> Finding:
    return Finding(
        code="power.largest-current-unknown",
        where=f"part {part.name}",
        message="its file gives typical channel currents only, so the worst case uses them;"
        " measure one package at full white, or add the largest published figure to its file",
    )


def _largest_only(part: Part) -> Finding:
    return Finding(
        code="power.typical-current-unknown",
        where=f"part {part.name}",
        message="its file gives the largest channel currents only, so the planned current is an"
        " upper limit; measure one package and add the figure to its file",
    )


def _current_keys(part: Part) -> list[str]:
    return [f"channel_current_{name.lower()}_ma" for name in part.channels]


def _dark_current(part: Part) -> tuple[float, tuple[Finding, ...]]:
    if part.dark_current_a is not None:
        return part.dark_current_a, ()
    finding = Finding(
        code="power.dark-current-unknown",
        where=f"part {part.name}",
        message="its file gives no dark current, so the current of dark LEDs is left out of every"
        " figure; measure the chain with all bytes 0 and add dark_current_ma",
    )
    return 0.0, (finding,)


def _cites(part: Part) -> tuple[str, ...]:
    """Return the sources of the currents, each once, with the key of the part's file."""
    wanted = (*_current_keys(part), "dark_current_ma", "current_law")
    cited: dict[str, str] = {}
    for key, figure in part.figures.items():
        if key.split(" ")[0] in wanted:
            cited.setdefault(f"{figure.source} [{figure.status}]", key.split(" ")[0])
    return tuple(f"{part.name} {key}: {source}" for source, key in cited.items())
