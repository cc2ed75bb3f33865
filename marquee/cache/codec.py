"""Frozen values as bytes and back, without any code in them: a JSON tree, and arrays beside it.

What is packed twice from equal values is equal byte for byte, so that the digest of the bytes names the content.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
import sys
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from pydantic import BaseModel

from marquee.values_pixels import as_given

_MAGIC = b"marquee value 1\n"
# Integer arrays (label pictures) shrink a hundredfold at zlib's quickest; floating-point noise does not shrink.
_ZIP_FROM_BYTES = 4096
# Exactly these: a subclass, such as a numpy scalar, would come back as something else.
_PLAIN = (bool, str, int, float)


class UnknownKindError(TypeError):
    """A value of a kind that is not packed; it is computed anew each time."""


class BrokenError(ValueError):
    """Bytes that are not, or no longer, what was written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """A value's JSON tree and its pieces, in the order the tree names them; `lasting` if it can be unpacked."""

    tree: bytes
    pieces: tuple[memoryview, ...]
    lasting: bool

    def digest(self) -> bytes:
        """Return the digest that names this content."""
        state = hashlib.blake2b(self.tree, digest_size=32)
        for piece in self.pieces:
            state.update(piece)
        return state.digest()


def pack(value: object) -> Packed:
    """Return the packed form of a value made of dataclasses, tuples, arrays, text and numbers.

    Settings (validated models) are packed too, but only to be named: nothing with them in is unpacked.

    Raises
    ------
    UnknownKindError
        There is something else in it.
    """
    packer = _Packer()
    tree = packer.tree(value)
    text = json.dumps(tree, ensure_ascii=True, separators=(",", ":"))
    return Packed(
        tree=text.encode("ascii"), pieces=tuple(packer.pieces), lasting=not packer.has_settings
    )


class _Packer:
    def __init__(self) -> None:
        self.pieces: list[memoryview] = []
        self.has_settings = False

    def tree(self, value: object) -> Any:  # noqa: ANN401 -- JSON
        kind = type(value)
        if value is None or kind in _PLAIN:
            return value
        if kind is tuple and isinstance(value, tuple):
            return [self.tree(item) for item in value]
        return self._tagged(value)

    def _tagged(self, value: object) -> dict[str, Any]:
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            fields = [f.name for f in dataclasses.fields(value)]
            return {"c": _name(value), "f": {n: self.tree(as_given(value, n)) for n in fields}}
        if isinstance(value, np.ndarray):
            return self._array(value)
        if isinstance(value, bytes):
            self.pieces.append(memoryview(value))
            return {"b": len(value)}
        if type(value) is list:
            return {"l": [self.tree(item) for item in value]}
        if type(value) is dict:
            return {"d": [[self.tree(k), self.tree(v)] for k, v in value.items()]}
        if isinstance(value, BaseModel):
            self.has_settings = True
            return {"m": _name(value), "f": [[n, self.tree(v)] for n, v in value]}
        raise UnknownKindError(f"a {type(value).__name__}")

    def _array(self, array: np.ndarray[Any, Any]) -> dict[str, Any]:
        if array.dtype.hasobject:
            raise UnknownKindError("an array of objects")
        # The order in memory is kept: sums over the array then round as they did.
        order = "F" if array.flags.f_contiguous and not array.flags.c_contiguous else "C"
        flat = np.asarray(array, order=cast("Any", order)).ravel(order="K")
        self.pieces.append(memoryview(flat.view(np.uint8).data))
        return {"a": array.dtype.str, "s": list(array.shape), "o": order}


def _name(value: object) -> str:
    return f"{type(value).__module__}:{type(value).__qualname__}"


def to_bytes(packed: Packed, digest: bytes) -> bytes:
    """Return a packed value as the bytes of a file, `digest` being its own."""
    stored: list[bytes] = []
    sizes: list[list[int]] = []
    for piece in (memoryview(packed.tree), *packed.pieces):
        small = zlib.compress(piece, 1) if _may_shrink(piece, packed.tree, stored) else b""
        is_zipped = bool(small) and len(small) < piece.nbytes
        stored.append(small if is_zipped else bytes(piece))
        sizes.append([piece.nbytes, len(stored[-1]), int(is_zipped)])
    head = json.dumps({"digest": digest.hex(), "sizes": sizes}).encode("ascii")
    return b"".join([_MAGIC, head, b"\n", *stored])


def _may_shrink(piece: memoryview, tree: bytes, done: list[bytes]) -> bool:
    if piece.nbytes < _ZIP_FROM_BYTES:
        return False
    if not done:  # the tree itself
        return True
    # A look at the start and the middle of it decides: noise and pictures already compressed are left as they are.
    probe = bytes(piece[:2048]) + bytes(piece[piece.nbytes // 2 :][:2048])
    return len(zlib.compress(probe, 1)) < 0.7 * len(probe) or not tree


def from_bytes(content: bytes) -> tuple[object, bytes]:
    """Return the value in a file's bytes, arrays read-only, and its digest.

    Raises
    ------
    BrokenError
        The bytes are cut short, changed, or speak of a class that is not there.
    """
    try:
        return _from_bytes(content)
    except BrokenError:
        raise
    except Exception as error:  # noqa: BLE001 -- whatever odd bytes lead to, they are no value of ours
        raise BrokenError(f"{error}") from None


def _from_bytes(content: bytes) -> tuple[object, bytes]:
    if not content.startswith(_MAGIC):
        raise BrokenError("not one of ours")
    end = content.index(b"\n", len(_MAGIC))
    head = json.loads(content[len(_MAGIC) : end])
    pieces = _pieces(memoryview(content)[end + 1 :], head["sizes"])
    state = hashlib.blake2b(digest_size=32)
    for piece in pieces:
        state.update(piece)
    if state.hexdigest() != head["digest"]:
        raise BrokenError("changed since it was written")
    value = _Unpacker(iter(pieces[1:])).value(json.loads(bytes(pieces[0])))
    return value, state.digest()


def _pieces(body: memoryview, sizes: list[list[int]]) -> list[memoryview]:
    pieces, at = [], 0
    for size, stored, is_zipped in sizes:
        piece = body[at : at + stored]
        at += stored
        if is_zipped:
            # Never more than was promised, whatever the bytes say.
            piece = memoryview(zlib.decompressobj().decompress(piece, max(size, 1)))
        if piece.nbytes != size:
            raise BrokenError("cut short")
        pieces.append(piece)
    if at != body.nbytes:
        raise BrokenError("longer than it was written")
    return pieces


class _Unpacker:
    def __init__(self, pieces: Iterator[memoryview]) -> None:
        self._pieces = pieces

    def value(self, tree: Any) -> object:  # noqa: ANN401 -- JSON
        if isinstance(tree, list):
            return tuple(self.value(item) for item in tree)
        if not isinstance(tree, dict):
            return tree
        if "c" in tree:
            kind = _dataclass(tree["c"])
            return kind(**{name: self.value(below) for name, below in tree["f"].items()})
        if "a" in tree:
            return self._array(np.dtype(tree["a"]), tree["s"], tree["o"])
        return self._plain(tree)

    def _plain(self, tree: dict[str, Any]) -> object:
        if "b" in tree:
            return bytes(next(self._pieces))
        if "l" in tree:
            return [self.value(item) for item in tree["l"]]
        return {self.value(key): self.value(below) for key, below in tree["d"]}

    def _array(self, dtype: np.dtype[Any], shape: list[int], order: str) -> object:
        if dtype.hasobject:
            raise BrokenError("an array of objects")
        piece = next(self._pieces)
        if piece.nbytes != dtype.itemsize * math.prod(shape):
            raise BrokenError("an array of another size")
        array = np.frombuffer(piece, dtype).reshape(shape, order=cast("Any", order))
        array.setflags(write=False)
        return array


def _dataclass(name: str) -> Any:  # noqa: ANN401 -- a class
    """Return one of our own value classes by name; nothing is imported and nothing else is ever called."""
    module, _, qualname = name.partition(":")
    kind = (
        getattr(sys.modules.get(module), qualname, None) if module.startswith("marquee.") else None
    )
    if not (isinstance(kind, type) and dataclasses.is_dataclass(kind)):
        raise BrokenError(f"no such value: {name}")
    return kind
