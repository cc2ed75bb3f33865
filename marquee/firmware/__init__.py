"""What the controller is told: zones as runs of LEDs, bytes, tables; and what they cost it."""

from marquee.firmware.budget import (
    AVR_TICK_US,
    check_frame,
    controllers,
    estimate_budget,
    find_controller,
)
from marquee.firmware.constants import (
    COMMON_BIT_NS,
    COMMON_LATCH_US,
    Constants,
    ZoneRuns,
    choose_constants,
    led_ua,
    runs_of,
)

__all__ = [
    "AVR_TICK_US",
    "COMMON_BIT_NS",
    "COMMON_LATCH_US",
    "Constants",
    "ZoneRuns",
    "check_frame",
    "choose_constants",
    "controllers",
    "estimate_budget",
    "find_controller",
    "led_ua",
    "runs_of",
]
