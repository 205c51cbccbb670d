"""What an SVG element looks like: attributes, style sheet and style attribute, and what is handed down.

Only what tells whether and how a shape is drawn is read (CSS 2.1, section 6.4: the more particular selector wins, the
style attribute wins over all).  Selectors of one element, class or id are understood; others are passed over.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

from nesting.drawing.svg_file import local

Style = Mapping[str, str]

_INHERITED: Final = ("fill", "stroke", "stroke-width", "stroke-dasharray", "visibility", "color")
_OWN: Final = ("display", "opacity", "clip-path", "mask", "transform")
_RULE: Final = re.compile(r"([^{}]+)\{([^{}]*)\}")
_COMMENT: Final = re.compile(r"/\*.*?\*/|<!--|-->", re.DOTALL)
_SELECTOR: Final = re.compile(r"([A-Za-z][\w-]*|\*)?(?:\.([\w-]+)|#([\w:.-]+))?")
_NAMED: Final = {
    "black": "#000000",
    "white": "#ffffff",
    "red": "#ff0000",
    "lime": "#00ff00",
    "green": "#008000",
    "blue": "#0000ff",
    "yellow": "#ffff00",
    "cyan": "#00ffff",
    "aqua": "#00ffff",
    "magenta": "#ff00ff",
    "fuchsia": "#ff00ff",
    "orange": "#ffa500",
    "gray": "#808080",
    "grey": "#808080",
}
_HEX: Final = re.compile(r"#([0-9a-f]{3}|[0-9a-f]{6})")
_RGB: Final = re.compile(r"rgb\(\s*(\d+)\s*,\s*(\d+)\s*,\s*(\d+)\s*\)")


@dataclass(frozen=True, slots=True)
class StyleRule:
    """One selector of a style sheet with its declarations."""

    tag: str
    class_name: str
    id: str
    said: Style

    @property
    def weight(self) -> tuple[bool, bool, bool]:
        """How particular it is."""
        return (bool(self.id), bool(self.class_name), self.tag not in ("", "*"))

    def fits(self, element: Element) -> bool:
        """Tell whether it speaks of an element."""
        return (
            self.tag in ("", "*", local(element.tag))
            and (not self.class_name or self.class_name in element.get("class", "").split())
            and (not self.id or self.id == element.get("id"))
        )


def style_rules(root: Element) -> tuple[StyleRule, ...]:
    """Return the rules of all `style` elements, the least particular first."""
    found = []
    for element in root.iter():
        if local(element.tag) != "style":
            continue
        sheet = _COMMENT.sub(" ", "".join(element.itertext()))
        for selectors, body in _RULE.findall(sheet):
            for selector in selectors.split(","):
                match = _SELECTOR.fullmatch(selector.strip())
                if match and selector.strip():
                    tag, class_name, name = (group or "" for group in match.groups())
                    found.append(StyleRule(tag, class_name, name, declarations(body)))
    return tuple(sorted(found, key=lambda rule: rule.weight))


def declarations(text: str) -> dict[str, str]:
    """Return the properties of a style attribute or of a rule's body that matter here."""
    found = {}
    for declaration in text.split(";"):
        key, colon, value = declaration.partition(":")
        if colon and key.strip().lower() in (*_INHERITED, *_OWN):
            found[key.strip().lower()] = value.replace("!important", "").strip()
    return found


def style_of(element: Element, above: Style, rules: Sequence[StyleRule]) -> dict[str, str]:
    """Return the properties of an element, those handed down from above included."""
    style = {key: above[key] for key in _INHERITED if key in above}
    own = {key: value.strip() for key in (*_INHERITED, *_OWN) if (value := element.get(key)) is not None}
    for rule in rules:
        if rule.fits(element):
            own.update(rule.said)
    own.update(declarations(element.get("style", "")))
    style.update({key: value for key, value in own.items() if value != "inherit"})
    return style


def colour(text: str, style: Style) -> str:
    """Return a colour as `#rrggbb`, `none`, or as it stands if it is of another form."""
    value = text.strip().lower()
    if value == "currentcolor":
        value = style.get("color", "black").strip().lower()
    if value == "transparent":
        return "none"
    value = _NAMED.get(value, value)
    if match := _RGB.fullmatch(value):
        return "#" + "".join(f"{min(int(v), 255):02x}" for v in match.groups())
    if (match := _HEX.fullmatch(value)) and len(match[1]) == 3:
        return "#" + "".join(2 * digit for digit in match[1])
    return value


def hides(style: Style) -> bool:
    """Tell whether an element and all in it are not drawn."""
    return style.get("display", "").strip() == "none" or _is_zero(style.get("opacity", "1"))


def _is_zero(text: str) -> bool:
    try:
        return float(text.rstrip("% ")) == 0.0
    except ValueError:
        return False
