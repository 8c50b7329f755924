"""A page as a browser reads it: tags, attributes, words."""

import re
from html.parser import HTMLParser

VOID = {"meta", "br", "link", "img", "input", "hr"}
ADDRESSES = ("src", "href", "xlink:href", "srcset", "data", "action", "poster", "background")
STYLE_URL = re.compile(r"url\(\s*['\"]?([^)'\"]*)")


class Read(HTMLParser):
    """Collects the content of a page, and checks that every tag is closed."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.words: list[str] = []
        self.styles = ""
        self.feed(text)
        self.close()
        assert self.open == ["html"] or not self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, key, value or "") for key, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, key, value or "") for key, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "style":
            self.styles += data
        else:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def all_of(self, key: str) -> list[str]:
        return [value for _, name, value in self.attributes if name == key]


def fetches_nothing(read: Read) -> None:
    assert not {"script", "link", "iframe", "object", "embed", "base", "form"} & set(read.tags)
    for tag, key, value in read.attributes:
        assert not key.startswith("on"), (tag, key)
        if key in ADDRESSES:
            assert value.startswith(("#", "data:image/")), (tag, key, value[:60])
        for url in STYLE_URL.findall(value):
            assert url.startswith("#"), (tag, key, url)
    assert not STYLE_URL.findall(read.styles)
    assert "@import" not in read.styles
    ids = read.all_of("id")
    assert len(set(ids)) == len(ids)
    # Every link has a target.
    links = {value[1:] for key in ("href", "xlink:href") for value in read.all_of(key)}
    assert {link for link in links if not link.startswith("ata:")} <= set(ids)
