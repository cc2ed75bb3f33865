"""A whole file made into a nearly whole one: lines and values dropped, doubled, swapped and replaced."""

from __future__ import annotations

import re

from hypothesis import strategies as st

# What a value may become: the edges of every type, and what people do type.
ODD_VALUES = (
    *("0", "-0.0", "-1", "1", "255", "256", "1e308", "-1e308", "1e-320", "nan", "inf", "-inf"),
    *("9223372036854775808", "0x" + "F" * 5000, "9" * 5000, "1_000", "true", "false"),
    *('""', '" "', '"0mm"', '"-5mm"', '"1e9mm"', '"15in"', '"380"', '"30%"', '"0%"', '"101%"'),
    *('"nan mm"', '"1e400mm"', '"٣mm"', '"½in"', '"380㎜"', '"D65"', '"0.3,0.3"', '"5000K"'),
    *('"#ff9a1e"', '"lab(48% 62 43)"', '"color(xyz 1 1 1)"', '"rgb(none none none)"'),
    *('"a\\u0000b"', '"\\u202e"', '"\\t"', "'C:\\art'", '"/dev/null"', '"../.."', '"x.toml"'),
    *("[]", "[1]", "[[0, 0], [255, 1]]", "[[]]", "[nan, nan, nan]", '["1mm", "1mm"]', "{}"),
    *("{ a = 1 }", '{ value = 1, unit = "V", status = "measured", source = "x" }'),
    *("1979-05-27T07:32:00Z", "1979-05-27", "07:32:00", '"""', "'''", "#", "="),
)
_ODD = st.one_of(
    st.sampled_from(ODD_VALUES),
    st.floats().map(repr),
    st.integers().map(str),
    st.text(max_size=12).map(lambda text: f'"{text}"'),
    st.text(max_size=12),
)
_VALUE = re.compile(r"(?<=[=,;\[{ ])[^=,;\[\]{}\n]+|-?[0-9][0-9.]*")


@st.composite
def damaged(draw: st.DrawFn, wholes: list[bytes]) -> bytes:
    """Draw one of the whole files, changed in one to four places."""
    text = draw(st.sampled_from(wholes)).decode("utf-8", errors="surrogateescape")
    for _ in range(draw(st.integers(1, 4))):
        text = _change(draw, text)
    raw = text.encode("utf-8", errors="surrogatepass")
    if draw(st.integers(0, 9)) == 0:  # a few bytes that are no text
        at = draw(st.integers(0, len(raw)))
        raw = raw[:at] + draw(st.binary(max_size=6)) + raw[at + draw(st.integers(0, 3)) :]
    return raw


def _change(draw: st.DrawFn, text: str) -> str:
    lines = text.split("\n")
    way = draw(st.sampled_from(["value", "value", "value", "drop", "double", "swap", "insert"]))
    if way == "value":
        places = list(_VALUE.finditer(text))
        if not places:
            return text + draw(_ODD)
        place = draw(st.sampled_from(places))
        return text[: place.start()] + draw(_ODD) + text[place.end() :]
    if way == "insert":
        at = draw(st.integers(0, len(text)))
        return text[:at] + draw(_ODD) + text[at:]
    first = draw(st.integers(0, len(lines) - 1))
    if way == "drop":
        del lines[first : first + draw(st.integers(1, 3))]
    elif way == "double":
        lines.insert(first, lines[first])
    else:
        second = draw(st.integers(0, len(lines) - 1))
        lines[first], lines[second] = lines[second], lines[first]
    return draw(st.sampled_from(["\n", "\n", "\n", "\r\n", "\r"])).join(lines)
