"""Values as bytes and back: nothing lost, nothing run, and damaged bytes are never taken for a value."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from marquee.cache.codec import BrokenError, UnknownKindError, from_bytes, pack, to_bytes
from marquee.demo import demo_folder
from marquee.plan import Plan, make_plan
from marquee.project import read_project
from marquee.stage import call
from marquee.values import Wall

PLAIN = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(st.characters(codec=None))  # lone surrogates too: file names of undecodable bytes
    | st.binary(max_size=40)
    | arrays.arrays(
        st.sampled_from([np.uint8, np.int16, np.int32, np.float32, np.float64, np.bool_]),
        arrays.array_shapes(min_dims=1, max_dims=3, min_side=0, max_side=4),
    )
)
VALUES = st.recursive(
    PLAIN,
    lambda below: (
        st.lists(below, max_size=4)
        | st.lists(below, max_size=4).map(tuple)
        | st.dictionaries(st.text(max_size=4) | st.integers(), below, max_size=4)
        | st.builds(
            lambda path, zones: Wall(id=0, zones=zones, path_mm=path, length_mm=1.0),
            st.lists(st.tuples(st.floats(), st.floats()), max_size=3).map(tuple),
            st.tuples(st.integers(), st.integers()),
        )
    ),
    max_leaves=12,
)


def same(a: Any, b: Any) -> bool:
    """Tell whether two values are equal in kind and in every bit that counts (NaN like NaN, −0 unlike 0)."""
    if type(a) is not type(b):
        return False
    if isinstance(a, np.ndarray | float):
        return same_numbers(np.asarray(a), np.asarray(b))
    if isinstance(a, list | tuple):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, dict):
        return same(list(a.items()), list(b.items()))
    if dataclasses.is_dataclass(a):
        return all(same(getattr(a, f.name), getattr(b, f.name)) for f in dataclasses.fields(a))
    return bool(a == b)


def same_numbers(a: np.ndarray[Any, Any], b: np.ndarray[Any, Any]) -> bool:
    if a.dtype != b.dtype or a.shape != b.shape:
        return False
    if a.dtype.kind != "f":
        return a.tobytes() == b.tobytes()
    told = ~np.isnan(a)
    signs = np.signbit(a) == np.signbit(b)
    return np.array_equal(a, b, equal_nan=True) and bool(signs[told].all())


def stored(value: object) -> bytes:
    packed = pack(value)
    return to_bytes(packed, packed.digest())


@given(VALUES)
def test_a_value_comes_back_as_it_was(value: object) -> None:
    back, digest = from_bytes(stored(value))
    assert same(back, value)
    assert digest == pack(value).digest() == pack(back).digest()


@given(VALUES, VALUES)
def test_equal_digests_mean_equal_values(one: object, other: object) -> None:
    if pack(one).digest() == pack(other).digest():
        assert same(one, other)


@given(VALUES, st.data())
def test_damaged_bytes_are_broken_or_the_same_value(value: object, data: st.DataObject) -> None:
    content = bytearray(stored(value))
    at = data.draw(st.integers(0, len(content) - 1))
    if data.draw(st.booleans()):
        del content[at:]
    else:
        content[at] ^= data.draw(st.integers(1, 255))
    try:
        back, _ = from_bytes(bytes(content))
    except BrokenError:
        return
    assert same(back, value)


@given(st.binary(max_size=300))
def test_foreign_bytes_are_broken(content: bytes) -> None:
    for head in (b"", b"marquee value 1\n"):
        with pytest.raises(BrokenError):
            from_bytes(head + content)


@pytest.mark.parametrize(
    "name",
    ["os:system", "marquee.cli.app:run", "marquee.plan:plan", "builtins:exec", "pathlib:Path"],
)
def test_no_name_in_the_bytes_is_called_or_imported(name: str) -> None:
    packed = pack(Wall(id=0, zones=(0, 1), path_mm=(), length_mm=1.0))
    forged = dataclasses.replace(
        packed, tree=packed.tree.replace(b"marquee.values_box:Wall", name.encode())
    )
    assert forged.tree != packed.tree
    with pytest.raises(BrokenError, match="no such value"):
        from_bytes(to_bytes(forged, forged.digest()))


def test_what_is_no_plain_value_is_not_packed() -> None:
    for odd in (np.float64(1.0), {1, 2}, object(), np.array([object()]), lambda: 0):
        with pytest.raises(UnknownKindError):
            pack(odd)


def test_the_order_of_an_array_in_memory_is_kept() -> None:
    array = np.asfortranarray(np.arange(12.0).reshape(3, 4))
    back, _ = from_bytes(stored(array))
    assert isinstance(back, np.ndarray)
    assert back.flags.f_contiguous
    assert not back.flags.writeable
    np.testing.assert_array_equal(back, array)


def test_every_stage_of_a_plan_can_be_stored() -> None:
    kept: dict[str, object] = {}

    def keeping(stage: Any, /, *inputs: Any, **named: Any) -> Any:
        value = call(stage, *inputs, **named)
        assert pack(value).lasting, stage.__name__
        back, _ = from_bytes(stored(value))
        assert same(back, value), stage.__name__
        kept[stage.__name__] = back
        return back  # the rest of the plan is made from what came back

    with demo_folder() as demo:
        project = read_project(demo / "project.toml")
        through = make_plan(project, keeping)
        plain = make_plan(project)
    assert len(kept) >= 12
    for field in dataclasses.fields(Plan):
        if field.name != "project":
            assert same(getattr(through, field.name), getattr(plain, field.name)), field.name
