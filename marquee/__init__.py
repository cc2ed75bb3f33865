"""marquee plans the back-lit marquee of a hand-built cabinet, from artwork to firmware constants.

>>> import marquee
>>> plan = marquee.plan("sign.png", width="380mm", part="ws2812b")  # doctest: +SKIP
>>> marquee.write(plan, "sign-plan")  # doctest: +SKIP
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from marquee.errors import Finding, MarqueeError
    from marquee.outputs.plan_json import plan_json
    from marquee.outputs.write import plan_schema, write
    from marquee.plan import Plan, plan

__version__ = "0.1.0"
__all__ = ["Finding", "MarqueeError", "Plan", "plan", "plan_json", "plan_schema", "write"]

# Fetched when first asked for, so that `import marquee` costs nothing.
_HOMES = {
    "Finding": "marquee.errors",
    "MarqueeError": "marquee.errors",
    "Plan": "marquee.plan",
    "plan_json": "marquee.outputs.plan_json",
    "plan_schema": "marquee.outputs.write",
    "write": "marquee.outputs.write",
}


def __getattr__(name: str) -> object:
    from importlib import import_module

    if name == "plan":  # the module of that name, which can be called
        return import_module("marquee.plan")
    if name not in _HOMES:
        raise AttributeError(f"module 'marquee' has no attribute '{name}'")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
