"""A runner that computes a stage only when its inputs, or the program, differ from what was computed before."""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import os
import platform
import sys
from collections.abc import Callable, Sequence
from functools import cache, partial
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

import marquee
from marquee.cache.codec import BrokenError, Packed, UnknownKindError, from_bytes, pack, to_bytes
from marquee.cache.store import Store
from marquee.cache.traced import Traced, at
from marquee.plan import Plan

P = ParamSpec("P")
T = TypeVar("T")
# Different sets of inputs a file was seen to read, the latest kept.
_READ_SETS = 8


@dataclasses.dataclass(frozen=True, slots=True)
class _Known:
    value: object
    digest: bytes


class Remembering:
    """Keys a stage by its name, the program's code and the content of its inputs.

    Values of the last round are also held in memory; `end_round` lets go of those it did not use. Without a store
    that is all. `computed` names what had to be computed in this round.
    """

    def __init__(self, store: Store | None) -> None:
        self._store = store
        self._held: dict[str, _Known] = {}
        self._digests: dict[int, _Known] = {}
        self._used: set[str] = set()
        self.computed: list[str] = []

    def __call__(self, stage: Callable[P, T], /, *inputs: P.args, **named: P.kwargs) -> T:
        """Return what the stage returns, computed now or before."""
        try:
            key = self._key(stage, *inputs, *sorted(named.items()))
        except UnknownKindError:
            return stage(*inputs, **named)
        known = self._look(key)
        if known is not None:
            return cast("T", known.value)
        value = stage(*inputs, **named)
        self.computed.append(_name(stage))
        self._keep(key, value)
        return value

    def files(
        self,
        makers: Sequence[Callable[[Plan], dict[str, bytes]]],
        plan: Plan,
        share: Callable[[Sequence[Callable[[], Any]]], list[Any]],
    ) -> list[dict[str, bytes]]:
        """Return what each maker makes of the plan, computing those of which a part they read has changed.

        Parameters
        ----------
        makers : sequence of functions
            Pure functions of the plan.
        plan : Plan
            Its stages may have been remembered or not.
        share : function
            Does a list of jobs and returns what each gave; called once with all that must be made.
        """
        made = [self._made(maker, plan) for maker in makers]
        missing = [k for k, one in enumerate(made) if one is None]
        done = share([partial(_traced, makers[k], plan) for k in missing])
        for k, (content, reads) in zip(missing, done, strict=True):
            made[k] = content
            self.computed.append(_name(makers[k]))
            self._keep_made(makers[k], plan, content, reads)
        return [one for one in made if one is not None]

    def end_round(self) -> None:
        """Let go of what the round just done did not use, and keep the folder within its bounds."""
        self._held = {key: known for key, known in self._held.items() if key in self._used}
        alive = {id(known.value) for known in self._held.values()}
        self._digests = {i: known for i, known in self._digests.items() if i in alive}
        self._used.clear()
        self.computed.clear()
        if self._store is not None:
            self._store.prune()

    def _key(self, stage: Callable[..., object], *inputs: object) -> str:
        state = hashlib.blake2b(program_digest(), digest_size=32)
        state.update(_name(stage).encode("utf-8", "surrogatepass"))
        for value in inputs:
            state.update(self._digest(value))
        return state.hexdigest()

    def _digest(self, value: object) -> bytes:
        known = self._digests.get(id(value))
        if known is not None and known.value is value:
            return known.digest
        digest = pack(value).digest()
        if dataclasses.is_dataclass(value):  # held, so that no other value can get its id
            self._digests[id(value)] = _Known(value, digest)
        return digest

    def _look(self, key: str) -> _Known | None:
        self._used.add(key)
        if key in self._held:
            return self._held[key]
        content = None if self._store is None else self._store.get(key)
        if self._store is None or content is None:
            return None
        try:
            known = _Known(*from_bytes(content))
        except BrokenError:
            self._store.drop(key)
            return None
        self._hold(key, known)
        return known

    def _hold(self, key: str, known: _Known) -> None:
        self._held[key] = known
        self._digests[id(known.value)] = known

    def _keep(self, key: str, value: object) -> None:
        try:
            packed: Packed = pack(value)
        except UnknownKindError:
            return
        digest = packed.digest()
        self._hold(key, _Known(value, digest))
        if packed.lasting and self._store is not None:
            self._store.put(key, to_bytes(packed, digest))

    def _made(self, maker: Callable[..., object], plan: Plan) -> dict[str, bytes] | None:
        base = self._key(maker)
        for reads in self._read_sets(base):
            known = self._look(self._key_of_reads(base, plan, reads))
            if known is not None:
                return cast("dict[str, bytes]", known.value)
        return None

    def _read_sets(self, base: str) -> tuple[tuple[str, ...], ...]:
        known = self._look(base)
        return () if known is None else cast("tuple[tuple[str, ...], ...]", known.value)

    def _key_of_reads(self, base: str, plan: Plan, reads: tuple[str, ...]) -> str:
        state = hashlib.blake2b(base.encode(), digest_size=32)
        for path in reads:
            state.update(path.encode())
            state.update(self._digest(at(plan, path)))
        return state.hexdigest()

    def _keep_made(
        self,
        maker: Callable[..., object],
        plan: Plan,
        content: dict[str, bytes],
        reads: tuple[str, ...],
    ) -> None:
        base = self._key(maker)
        before = tuple(other for other in self._read_sets(base) if other != reads)
        try:
            key = self._key_of_reads(base, plan, reads)
        except UnknownKindError:
            return
        self._used |= {base, key}
        self._keep(key, content)
        self._keep(base, (reads, *before)[:_READ_SETS])


def _traced(
    maker: Callable[[Plan], dict[str, bytes]], plan: Plan
) -> tuple[dict[str, bytes], tuple[str, ...]]:
    traced = Traced.of(plan)
    content = maker(traced)
    return content, traced.reads()


def _name(stage: Callable[..., object]) -> str:
    if isinstance(stage, partial):
        words = ", ".join(map(repr, stage.args))
        return f"{_name(stage.func)}({words})"
    return f"{stage.__module__}:{stage.__qualname__}"


@cache
def program_digest() -> bytes:
    """Return the digest of all that decides what a stage returns: our code and tables, Python and the packages."""
    state = hashlib.blake2b(digest_size=32)
    told = [marquee.__version__, sys.version, platform.platform(), *_packages()]
    state.update("\n".join(told).encode("utf-8", "surrogateescape"))
    root = Path(marquee.__file__).parent
    for path in sorted(root.rglob("*")):
        if path.suffix != ".pyc" and path.is_file():
            state.update(f"\n{path.relative_to(root).as_posix()}\n".encode())
            state.update(path.read_bytes())
    return state.digest()


def _packages() -> list[str]:
    """Return name and version of every package this Python can import, as their folders say."""
    found: set[str] = set()
    for place in sys.path:
        with contextlib.suppress(OSError):
            names = os.listdir(place or ".")  # noqa: PTH208 -- names are all that is wanted
            found |= {name for name in names if name.endswith((".dist-info", ".egg-info"))}
    return sorted(found)
