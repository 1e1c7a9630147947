"""A page taken apart, and texts that would do harm where a page did not escape them."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "br", "input", "img", "hr"}
SVG_LEAVES = {"path", "rect", "line", "circle"}


@dataclass
class Element:
    """An element of a page."""

    name: str
    attributes: dict[str, str]
    children: list["Element | str"] = field(default_factory=list)

    def all(self, *names: str) -> list["Element"]:
        """List the elements below this one, in order; of some names where they are given."""
        found = []
        for child in self.children:
            if isinstance(child, Element):
                found += [child] if not names or child.name in names else []
                found += child.all(*names)
        return found

    @property
    def text(self) -> str:
        """All text inside."""
        return "".join(c if isinstance(c, str) else c.text for c in self.children)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open = [Element("page", {})]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {k: v or "" for k, v in attrs})
        self.open[-1].children.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag in SVG_LEAVES, f"<{tag}/> is closed by itself"
        self.open[-1].children.append(Element(tag, {k: v or "" for k, v in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].name == tag, f"</{tag}> where {self.open[-1].name} is open"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def read(text: str) -> Element:
    """Take a page apart; every element must be closed where it should be."""
    reader = _Reader()
    reader.feed(text)
    reader.close()
    assert [e.name for e in reader.open] == ["page"]
    return reader.open[0]


HARM = "</script><img src=x onerror=alert(1)> \\\"quoted\\\" & 'single' {{ 7 * 7 }} `code`"

HARMFUL = f"""\
quantity diameter of material : length in 1 .. 4 mm "{HARM}"
quantity pace of machine : speed in 1 .. 100 mm/s
setting layer.height : length in 0.05 .. 0.6 mm step 0.01 mm given "{HARM}"
setting speed.contour : speed in 1 .. 100 mm/s step 1 mm/s "{HARM}"
setting bead.width : length in 0.1 .. 2 mm step 0.1 mm "{HARM}"
setting feed.factor : number in 0.5 .. 2 step 0.1 "{HARM}"
setting retraction.length : length in 0 .. 20 mm step 0.1 mm rather low "{HARM}"
law flowing {{
  about "{HARM}"
  source textbook "{HARM}"
  let flow = speed.contour * layer.height * bead.width "{HARM}"
  let need = diameter + flow / (1 mm * 10 mm/s) + bead.width "{HARM}"
  require flow <= 10 mm3/s
    else "{HARM}"
  require retraction.length >= need
    else "{HARM}"
  require retraction.length <= 6 mm
    else "{HARM}"
  require bead.width >= 0.3 mm
  require feed.factor <= 1.2
  require speed.contour <= pace
    else "{HARM}"
  caution "{HARM}"
  prepare "{HARM}"
  valid diameter <= 1 mm else "{HARM}"
}}
merit throughput = flow
material rub {{
  diameter 1.75 mm measured "{HARM}"
}}
machine tube {{
  pace 80 mm/s assumed "{HARM}"
}}
machine slow {{
  pace 30 mm/s assumed "{HARM}"
}}
profile job {{
  material rub
  machines tube, slow
  layer.height 0.2 mm
  prefer throughput
}}
"""
