"""Texts of a page that look like a value of the program: a repr, a bare None, an address in memory."""

import re
from html.parser import HTMLParser

_NOT_SHOWN = {"script", "style"}
_SHOWN_BY_ATTRIBUTE = {"aria-label", "title", "alt", "placeholder", "value", "content"}
_REPR = re.compile(
    r"\b[A-Z]\w+\((?:\w+=|'|\d|\))"  # GradeShown(key='minor', …), Decimal('3')
    r"|object at 0x|<[\w.]+: |<class '|datetime\.|<function |<bound method "
    r"|\[\]|\{\}|[\[{(]'|'[\]})]|': |\(\s*\)"
    r"|^(?:None|True|False|nan|inf)$|\bNone\b(?= ?[,·:/])|\bnan\b"
)


class Shown(HTMLParser):
    """The texts of a page that somebody reads or hears, each node by itself."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._hidden = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._hidden += tag in _NOT_SHOWN
        self.texts += [value for name, value in attrs if name in _SHOWN_BY_ATTRIBUTE and value]

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in _NOT_SHOWN

    def handle_data(self, data: str) -> None:
        if not self._hidden and data.strip():
            self.texts.append(" ".join(data.split()))


def raw_values(html: str) -> list[str]:
    """The texts of a page that look like a value of the program."""
    return [text for text in Shown(html).texts if _REPR.search(text)]
