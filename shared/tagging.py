"""Tags in a PDF while it is drawn: what each mark is, for readers who do not see it (ISO 32000-1, 14.6 to 14.9).

All that is drawn outside a tag is an artifact: rules, boxes, what only repeats. A leaf (`LEAVES`) holds what is drawn
inside it; every other tag holds further tags. The library that draws knows nothing of structure, so the tree is added
to its bytes at the end: new objects packed in streams, and one cross-reference stream over old and new (7.5.7, 7.5.8).
Nothing is read or formed twice, so thousands of pages cost little more than without.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from typing import Any
from xml.sax.saxutils import escape

LEAVES = frozenset({"H1", "H2", "P", "TH", "TD", "Figure", "Caption"})
LAYOUT = "/Artifact BMC"
PAGINATION = "/Artifact <</Type /Pagination>> BDC"
PACKED = 400  # objects a stream
NODES = 500  # pages a node of the parent tree
_TRAILER = re.compile(rb"startxref\s+(\d+)\s+%%EOF\s*$")


class Element:
    """A node of the structure tree. A leaf has the page and the number of its marked content instead of kids."""

    __slots__ = ("alt", "keyed", "kids", "mark", "number", "page", "parent", "role")

    def __init__(self, role: str, parent: Element | None, alt: str = ""):
        self.role, self.parent, self.alt = role, parent, alt
        self.kids: list[Element] = []
        self.keyed: dict[Hashable, Element] = {}
        self.page = self.mark = -1
        self.number = 0


class Recording:
    """What was drawn once, with its tags: to be drawn again on other pages of the same document."""

    def __init__(self) -> None:
        self.steps: list[str | tuple] = []
        self.forms: list[str] = []


class Tags:
    """The tags of one document on a canvas of the library. `end_page` is called before each `showPage`."""

    def __init__(self, canvas: Any):
        self._canvas = canvas
        self._root = Element("Document", None)
        self._here = self._root
        self._leaf: Element | None = None
        self._untagged = 0
        self._pages: list[list[Element]] = []
        self._marks: list[Element] = []
        self._recording: Recording | None = None
        self._from = 0
        self._outside = LAYOUT
        canvas._code.append(LAYOUT)

    # -- while drawing ------------------------------------------------------

    @property
    def is_loose(self) -> bool:
        """A text drawn now would be in no leaf, though it is to be read."""
        return self._leaf is None and not self._untagged

    @contextmanager
    def tag(self, role: str, *, alt: str = "", key: Hashable = None) -> Iterator[bool]:
        """All inside belongs to a tag of that role; inside a leaf, or where nothing is read, it changes nothing.

        alt  what a figure shows
        key  a tag of that key in the same place is gone on with: a table over several pages. Yields whether it is new
        """
        if self._leaf is not None or self._untagged:
            yield True
            return
        is_new = self._enter(role, alt, key)
        try:
            yield is_new
        finally:
            self._leave()

    @contextmanager
    def artifact(self, *, is_pagination: bool = False) -> Iterator[None]:
        """Nothing inside is read: what only decorates, or stands on every page."""
        if self._leaf is not None or self._untagged:
            yield
            return
        self._outside = PAGINATION if is_pagination else LAYOUT
        self._cut()
        self._close(self._outside)
        self._go_on()
        self._untagged += 1
        try:
            yield
        finally:
            self._untagged -= 1
            self._outside = LAYOUT
            self._cut()
            self._close(LAYOUT)
            self._go_on()

    @contextmanager
    def unread(self) -> Iterator[None]:
        """Inside a form of the library: its marks belong to where it is stamped."""
        self._untagged += 1
        kept, self._recording = self._recording, None
        try:
            yield
        finally:
            self._untagged -= 1
            self._recording = kept

    def _enter(self, role: str, alt: str, key: Hashable) -> bool:
        self._cut()
        if self._recording is not None:
            self._recording.steps.append((role, alt, key))
        parent = self._here
        element = parent.keyed.get(key) if key is not None else None
        is_new = element is None
        if element is None:
            element = Element(role, parent, alt)
            parent.kids.append(element)
            if key is not None:
                parent.keyed[key] = element
        self._here = element
        if role in LEAVES:
            self._leaf = element
            element.page, element.mark = len(self._pages), len(self._marks)
            self._marks.append(element)
            self._close(f"/{role} <</MCID {element.mark}>> BDC")
        self._go_on()
        return is_new

    def _leave(self) -> None:
        self._cut()
        if self._recording is not None:
            self._recording.steps.append(())
        if self._here is self._leaf:
            self._leaf = None
            self._close(self._outside)
        self._here = self._here.parent or self._root
        self._go_on()

    def _close(self, begin: str) -> None:
        """The marked content at hand ends, the next begins; one that held nothing never was."""
        code = self._canvas._code
        if code[-1] in (LAYOUT, PAGINATION):
            code.pop()
        else:
            code.append("EMC")
        code.append(begin)

    # -- drawn once, set down often -------------------------------------------

    @contextmanager
    def record(self) -> Iterator[Recording]:
        """Keeps what is drawn inside, on this page and not across its end."""
        found, forms = Recording(), len(self._canvas._formsinuse)
        self._recording = found
        self._go_on()
        try:
            yield found
        finally:
            self._cut()
            self._recording = None
            found.forms = self._canvas._formsinuse[forms:]

    def repeat(self, recording: Recording) -> None:
        """Sets down what was recorded, at the same place of this page, with tags of its own."""
        code = self._canvas._code
        for step in recording.steps:
            if isinstance(step, str):
                code.append(step)
            elif step:
                self._enter(*step)
            else:
                self._leave()
        self._canvas._formsinuse += recording.forms

    def _cut(self) -> None:
        if self._recording is not None:
            part = self._canvas._code[self._from :]
            if part:
                self._recording.steps.append("\n".join(part))

    def _go_on(self) -> None:
        if self._recording is not None:
            self._from = len(self._canvas._code)

    # -- the end --------------------------------------------------------------

    def end_page(self) -> None:
        """Ends the page of the canvas."""
        canvas = self._canvas
        code = canvas._code
        if code[-1] == LAYOUT:
            code.pop()
        else:
            code.append("EMC")
        canvas.showPage()
        page = canvas._doc.Pages.pages[-1]
        page.__NoDefault__ = [*page.__NoDefault__, "StructParents"]
        page.StructParents = len(self._pages)
        self._pages.append(self._marks)
        self._marks = []
        canvas._code.append(LAYOUT)

    def finish(self, *, title: str, author: str = "", language: str = "en-US") -> bytes:
        """The whole document. The canvas must not be used after it."""
        canvas = self._canvas
        canvas._code.clear()  # the artifact that begins a page which never comes
        data = canvas.getpdfdata()
        known = canvas._doc.idToObjectNumberAndVersion
        pages = [known[f"Page{number}"][0] for number in range(1, len(self._pages) + 1)]
        return _with_tree(data, self._root, self._pages, pages, _metadata(title, author, language))


# -- the tree in the file ----------------------------------------------------------------


def _with_tree(
    data: bytes, root: Element, marked: list[list[Element]], pages: list[int], metadata: bytes
) -> bytes:
    """The library's file with the tree added, and a new cross-reference over everything."""
    begin = int(_TRAILER.search(data)[1])
    offsets = _offsets(data, begin)
    catalog = int(re.search(rb"/Root (\d+) 0 R", data[begin:])[1])
    kept = b" ".join(
        re.search(pattern, data[begin:], re.DOTALL)[0]
        for pattern in (rb"/Info \d+ 0 R", rb"/ID\s*\[.*?\]")
        if re.search(pattern, data[begin:], re.DOTALL)
    )
    size = len(offsets)
    tree, described = size, size + 1
    objects, size = _elements(root, tree, pages, size + 2)
    parents, size = _parent_tree(marked, size)
    objects += parents
    objects.append((tree, f"<</Type/StructTreeRoot/K {root.number} 0 R/ParentTree {parents[-1][0]} 0 R>>"))
    written = data[offsets[catalog] : data.index(b"endobj", offsets[catalog])]
    inside = written[written.index(b"<<") : written.rindex(b">>")].decode("latin-1")
    objects.append(
        (catalog, f"{inside}/MarkInfo<</Marked true>>/StructTreeRoot {tree} 0 R/Metadata {described} 0 R>>")
    )
    body = bytearray(data[:begin])
    places: dict[int, bytes] = {described: _at(len(body))}
    head = f"{described} 0 obj\n<</Type/Metadata/Subtype/XML/Length {len(metadata)}>>\nstream\n"
    body += head.encode() + metadata + b"\nendstream\nendobj\n"
    for start in range(0, len(objects), PACKED):
        part = objects[start : start + PACKED]
        for index, (number, _) in enumerate(part):
            places[number] = b"\x02" + size.to_bytes(4, "big") + index.to_bytes(2, "big")
        places[size] = _at(len(body))
        body += _packed(size, part)
        size += 1
    places[size] = _at(len(body))
    rows = [b"\x00" + bytes(4) + b"\xff\xff"]
    rows += [places.get(number) or _at(offsets[number]) for number in range(1, len(offsets))]
    rows += [places[number] for number in range(len(offsets), size + 1)]
    content = zlib.compress(b"".join(rows))
    head = (
        f"{size} 0 obj\n<</Type/XRef/W[1 4 2]/Size {size + 1}/Root {catalog} 0 R {kept.decode('latin-1')}"
        f"/Filter/FlateDecode/Length {len(content)}>>\nstream\n"
    )
    at = len(body)
    body += head.encode("latin-1") + content + f"\nendstream\nendobj\nstartxref\n{at}\n%%EOF\n".encode()
    return bytes(body)


def _at(offset: int) -> bytes:
    return b"\x01" + offset.to_bytes(4, "big") + b"\x00\x00"


def _offsets(data: bytes, begin: int) -> list[int]:
    """By number of object, where it stands: the library writes one table without gaps."""
    head = re.compile(rb"xref\s+0 (\d+)\s*\n").match(data, begin)
    return [int(data[at : at + 10]) for at in range(head.end(), head.end() + 20 * int(head[1]), 20)]


def _elements(root: Element, tree: int, pages: list[int], number: int) -> tuple[list[tuple[int, str]], int]:
    """The objects of all elements from a number on, and the next free number."""
    order: list[Element] = []
    waiting = [root]
    while waiting:
        element = waiting.pop()
        element.number, number = number, number + 1
        order.append(element)
        waiting += reversed(element.kids)
    objects = []
    for element in order:
        parent = element.parent.number if element.parent else tree
        text = f"<</S/{element.role}/P {parent} 0 R"
        if element.alt:
            text += f"/Alt{_text(element.alt)}"
        if element.role == "TH":
            text += "/A<</O/Table/Scope/Column>>"
        if element.mark >= 0:
            text += f"/Pg {pages[element.page]} 0 R/K {element.mark}>>"
        else:
            text += f"/K[{' '.join(f'{kid.number} 0 R' for kid in element.kids)}]>>"
        objects.append((element.number, text))
    return objects, number


def _parent_tree(marked: list[list[Element]], number: int) -> tuple[list[tuple[int, str]], int]:
    """By page, the element of each mark; nodes of a number tree, the last object its root."""
    objects, nodes = [], []
    for start in range(0, len(marked), NODES):
        part = marked[start : start + NODES]
        rows = " ".join(
            f"{start + at}[{' '.join(f'{element.number} 0 R' for element in elements)}]"
            for at, elements in enumerate(part)
        )
        objects.append((number, f"<</Limits[{start} {start + len(part) - 1}]/Nums[{rows}]>>"))
        nodes.append(number)
        number += 1
    objects.append((number, f"<</Kids[{' '.join(f'{node} 0 R' for node in nodes)}]>>"))
    return objects, number + 1


def _packed(number: int, objects: list[tuple[int, str]]) -> bytes:
    """An object stream of these objects."""
    places, at = [], 0
    for one, text in objects:
        places.append(f"{one} {at}")
        at += len(text) + 1
    index = " ".join(places) + "\n"
    content = zlib.compress((index + "\n".join(text for _, text in objects)).encode("latin-1"))
    head = (
        f"{number} 0 obj\n<</Type/ObjStm/N {len(objects)}/First {len(index)}/Filter/FlateDecode"
        f"/Length {len(content)}>>\nstream\n"
    )
    return head.encode() + content + b"\nendstream\nendobj\n"


def _text(text: str) -> str:
    """A PDF text string."""
    if text.isascii() and text.isprintable():
        return "(" + text.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)") + ")"
    return f"<FEFF{text.encode('utf-16-be', 'replace').hex()}>"


def _metadata(title: str, author: str, language: str) -> bytes:
    """An XMP packet (ISO 16684-1): format, title, author, language."""
    creator = f"<dc:creator><rdf:Seq><rdf:li>{escape(author)}</rdf:li></rdf:Seq></dc:creator>"
    return (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/">'
        "<dc:format>application/pdf</dc:format>"
        f'<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{escape(title)}</rdf:li></rdf:Alt></dc:title>'
        f"{creator if author else ''}"
        f"<dc:language><rdf:Bag><rdf:li>{escape(language)}</rdf:li></rdf:Bag></dc:language>"
        "</rdf:Description></rdf:RDF></x:xmpmeta>\n"
        '<?xpacket end="r"?>'
    ).encode()
