"""A page as a reader's program sees it: its elements in order, each with its attributes and its text."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

_WITHOUT_END = {"meta", "link", "input", "br", "hr", "img", "path", "rect", "circle"}


@dataclass
class Element:
    tag: str
    attributes: dict[str, str]
    text: str = ""
    within: tuple[str, ...] = ()
    """The elements it lies in, from the outside."""

    @property
    def classes(self) -> set[str]:
        return set(self.attributes.get("class", "").split())


@dataclass
class Markup(HTMLParser):
    """Every element of a document in document order; an unclosed or crossed tag is an error."""

    elements: list[Element] = field(default_factory=list)
    open: list[Element] = field(default_factory=list)

    def __post_init__(self) -> None:
        HTMLParser.__init__(self)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        within = tuple(each.tag for each in self.open)
        element = Element(tag, {name: value or "" for name, value in attrs}, within=within)
        self.elements.append(element)
        if tag not in _WITHOUT_END:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        for element in self.open:
            element.text += data

    def all(self, tag: str) -> list[Element]:
        """The elements of a kind."""
        return [element for element in self.elements if element.tag == tag]

    def of_class(self, name: str) -> list[Element]:
        """The elements of a class."""
        return [element for element in self.elements if name in element.classes]


def parsed(html: bytes) -> Markup:
    """The document, checked to close what it opens."""
    markup = Markup()
    markup.feed(html.decode())
    markup.close()
    assert not markup.open, f"never closed: {[element.tag for element in markup.open]}"
    return markup


def words(text: str) -> str:
    """Text with its white space run together, as it is shown."""
    return " ".join(text.split())
