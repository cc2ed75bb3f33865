"""What the controller is told: zones as runs of LEDs, bytes, tables; and what they cost it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneRuns:
    """One zone as runs of neighbouring LEDs: (first index, count), and the bytes in channel order."""

    zone: int
    name: str
    mode: str  # steady | hue-cycle
    runs: tuple[tuple[int, int], ...]
    codes: tuple[int, ...]  # empty for a hue cycle


@dataclass(frozen=True, slots=True, kw_only=True)
class Constants:
    """The integers the header carries, in the units its names say."""

    channels: tuple[str, ...]
    byte_order: tuple[str, ...]
    led_count: int
    zones: tuple[ZoneRuns, ...]
    gamma_codes: tuple[int, ...]
    hue_cycle: tuple[tuple[int, ...], ...]  # rows of codes; empty where no zone cycles
    hue_step_ms: int
    brightness_cap_255: int
    current_limit_ma: int
    worst_case_ma: int
    planned_ma: int
    dark_ua: int
