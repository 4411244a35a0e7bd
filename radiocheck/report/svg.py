"""SVG 1.1 by hand: elements as text, with everything from outside escaped and nothing referred to.

Fonts, scripts, images and styles from elsewhere are not used, so a picture shows the same
everywhere and tells nobody that it was opened.
"""

from __future__ import annotations

from collections.abc import Iterable
from xml.sax.saxutils import escape as xml_escape
from xml.sax.saxutils import quoteattr

from .escape import escape

FONT = "DejaVu Sans, Verdana, Arial, sans-serif"  # names only; any of them that is there


def text(content: str) -> str:
    """Character data: terminal controls shown as codes, markup as entities; valid in XML 1.0."""
    return xml_escape(escape(content))


def element(name: str, content: str = "", /, **attributes: str | float) -> str:
    """One element; `_` in attribute names stands for `-`, numbers are rounded to a tenth."""
    words = "".join(
        f" {key.strip('_').replace('_', '-')}={quoteattr(_value(value))}" for key, value in attributes.items()
    )
    return f"<{name}{words}>{content}</{name}>" if content else f"<{name}{words}/>"


def label(content: str, x: float, y: float, /, **attributes: str | float) -> str:
    """A line of text; `content` is escaped here."""
    return element("text", text(content), x=x, y=y, **attributes)


def line(x1: float, y1: float, x2: float, y2: float, /, stroke: str = "#000", **attributes: str | float) -> str:
    """A straight line."""
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=stroke, **attributes)


def box(x: float, y: float, width: float, height: float, **attributes: str | float) -> str:
    """A rectangle."""
    return element("rect", x=x, y=y, width=max(width, 0.0), height=max(height, 0.0), **attributes)


def curve(points: Iterable[tuple[float, float]], **attributes: str | float) -> str:
    """A line through points."""
    return element("polyline", points=" ".join(f"{x:.1f},{y:.1f}" for x, y in points), **attributes)


def titled(title: str, about: str, content: Iterable[str], name: str) -> str:
    """A group with text in place of the picture, for those who do not see it."""
    head = element("title", text(title), id=f"{name}-title") + element("desc", text(about), id=f"{name}-desc")
    return element("g", "\n".join([head, *content]), role="img", aria_labelledby=f"{name}-title {name}-desc")


def hatch(name: str, angle: float, gap: float, weight: float) -> str:
    """A pattern of parallel lines, told apart from others without any colour."""
    stripe = line(0, 0, 0, gap, stroke_width=weight)
    return element(
        "pattern",
        stripe,
        id=name,
        width=gap,
        height=gap,
        patternUnits="userSpaceOnUse",
        patternTransform=f"rotate({angle:g})",
    )


def document(width: float, height: float, title: str, about: str, content: Iterable[str]) -> str:
    """The whole file."""
    head = element("title", text(title), id="title") + element("desc", text(about), id="desc")
    inner = "\n".join([head, box(0, 0, width, height, fill="#fff"), *content])
    root = element(
        "svg",
        "\n" + inner + "\n",
        xmlns="http://www.w3.org/2000/svg",
        version="1.1",
        width=width,
        height=height,
        viewBox=f"0 0 {width:g} {height:g}",
        role="img",
        aria_labelledby="title desc",
        font_family=FONT,
        font_size=12,
        fill="#000",
    )
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{root}\n'


def _value(value: str | float) -> str:
    return value if isinstance(value, str) else f"{round(value, 1):g}"
