"""The tags of a PDF as readers that are not ours see them: qpdf the tree and the marks, PDFium the text of each."""

from __future__ import annotations

import ctypes
from dataclasses import dataclass, field
from io import BytesIO

import pikepdf
import pypdfium2
import pypdfium2.raw as pdfium

PAINTS = frozenset({"Tj", "TJ", "'", '"', "S", "s", "f", "F", "f*", "B", "B*", "b", "b*", "Do", "sh", "BI"})
TEXTS = frozenset({"Tj", "TJ", "'", '"'})
KNOWN = frozenset({"Document", "Sect", "H1", "H2", "P", "Table", "TR", "TH", "TD", "Figure", "Caption"})


@dataclass
class Node:
    role: str
    alt: str = ""
    text: str = ""
    scope: str = ""
    kids: list[Node] = field(default_factory=list)

    def all(self, *roles: str) -> list[Node]:
        """In reading order, this one included."""
        found = [self] if not roles or self.role in roles else []
        return found + [node for kid in self.kids for node in kid.all(*roles)]

    @property
    def whole(self) -> str:
        """All text inside, in reading order."""
        return " ".join(" ".join(node.text for node in self.all()).split())


def marked_texts(data: bytes) -> list[dict[int, str]]:
    """By page, the text of each marked content; -1 is what lies in none that has a number."""
    document = pypdfium2.PdfDocument(data)
    pages = []
    for page in document:
        found: dict[int, list[str]] = {}
        textpage = page.get_textpage()
        for item in page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_TEXT], max_depth=1):
            size = pdfium.FPDFTextObj_GetText(item.raw, textpage.raw, None, 0)
            buffer = ctypes.create_string_buffer(size)
            pdfium.FPDFTextObj_GetText(
                item.raw, textpage.raw, ctypes.cast(buffer, ctypes.POINTER(ctypes.c_ushort)), size
            )
            mark = pdfium.FPDFPageObj_GetMarkedContentID(item.raw)
            found.setdefault(mark, []).append(buffer.raw.decode("utf-16-le").rstrip("\0"))
        pages.append({mark: " ".join(texts) for mark, texts in found.items()})
    return pages


def tree_of(data: bytes) -> Node:
    """The structure tree with its text, checked on the way: see `check`."""
    with pikepdf.open(BytesIO(data)) as pdf:
        texts = marked_texts(data)
        numbers = {page.objgen: number for number, page in enumerate(pdf.pages)}
        root = pdf.Root.StructTreeRoot
        assert pdf.Root.MarkInfo.Marked
        return _node(root.K, root, texts, numbers)


def _node(item, parent, texts, numbers) -> Node:
    role = str(item.S)[1:]
    assert role in KNOWN
    assert item.P.objgen == parent.objgen, "an element names another parent"
    node = Node(role, str(item.get("/Alt", "")))
    if "/A" in item:
        node.scope = str(item.A.get("/Scope", ""))
    kids = item.get("/K")
    if isinstance(kids, pikepdf.Array):
        node.kids = [_node(kid, item, texts, numbers) for kid in kids]
    elif kids is not None:
        node.text = " ".join(texts[numbers[item.Pg.objgen]].get(int(kids), "").split())
    return node


def check(data: bytes) -> None:
    """What every tagged paper keeps: all that is painted is marked, each mark is one element's, tables are tables."""
    with pikepdf.open(BytesIO(data)) as pdf:
        assert not pdf.get_warnings() and not pdf.check_pdf_syntax(), "qpdf finds fault with the file"
        root = pdf.Root
        assert root.MarkInfo.Marked
        assert str(root.Lang)
        assert root.ViewerPreferences.DisplayDocTitle
        assert str(pdf.docinfo["/Title"])
        with pdf.open_metadata() as described:
            assert described["dc:title"] == str(pdf.docinfo["/Title"])
            assert described["dc:language"]
        parents = dict(_numbers(root.StructTreeRoot.ParentTree))
        for number, page in enumerate(pdf.pages):
            marks = _marks(page)
            assert page.StructParents == number
            elements = list(parents[number])
            assert marks == list(range(len(elements))), (
                f"page {number + 1}: its marks are not each once, in order"
            )
            for mark, element in enumerate(elements):
                assert int(element.K) == mark
                assert element.Pg.objgen == page.objgen
        assert len(parents) == len(pdf.pages)
    tree = tree_of(data)
    for node in tree.all():
        kids = {kid.role for kid in node.kids}
        if node.role == "Table":
            assert kids == {"TR"}
        if node.role == "TR":
            assert kids <= {"TH", "TD"} and kids
        if node.role == "TH":
            assert node.scope == "/Column"
        if node.role == "Figure":
            assert node.alt
        if node.role in ("H1", "H2"):
            assert node.text.strip()
    assert tree.role == "Document"
    assert tree.all("H1"), "no heading"


def _numbers(node):
    if "/Kids" in node:
        for kid in node.Kids:
            yield from _numbers(kid)
    else:
        rows = list(node.Nums)
        yield from zip(map(int, rows[::2]), rows[1::2], strict=True)


def _marks(page) -> list[int]:
    """The numbers of the marked contents in drawing order; every painting operator lies in one, or in an artifact."""
    open_marks: list[str | int] = []
    found = []
    for operands, operator in pikepdf.parse_content_stream(page):
        name = str(operator)
        if name in ("BDC", "BMC"):
            is_dictionary = name == "BDC" and isinstance(operands[1], pikepdf.Dictionary)
            is_numbered = is_dictionary and "/MCID" in operands[1]
            assert is_numbered or str(operands[0]) in ("/Artifact", "/OC")
            if is_numbered:
                assert not any(isinstance(mark, int) or mark == "/Artifact" for mark in open_marks)
                found.append(int(operands[1].MCID))
            open_marks.append(found[-1] if is_numbered else str(operands[0]))
        elif name == "EMC":
            open_marks.pop()
        elif name in PAINTS:
            assert any(mark != "/OC" for mark in open_marks), f"{name} is painted outside of every mark"
    assert not open_marks
    return found
