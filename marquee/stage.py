"""How the pipeline calls its stages: as they are, or through something that remembers or tells what is done."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, Protocol, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


class Runner(Protocol):
    """Returns what `stage` returns for its inputs."""

    def __call__(self, stage: Callable[P, T], /, *inputs: P.args, **named: P.kwargs) -> T:
        """Return ``stage(*inputs, **named)``, computed now or known from before."""
        ...


def call(stage: Callable[P, T], /, *inputs: P.args, **named: P.kwargs) -> T:
    """Return ``stage(*inputs, **named)``: the runner that does nothing else."""
    return stage(*inputs, **named)
