"""Files that are wrong in one way each: refused whole, every wrong cell named, and not a row more in the database."""

from __future__ import annotations

import io
import struct
import zipfile
from dataclasses import dataclass, field

import pytest
from django.apps import apps

from tests.factories import order_body

from .files import ELBOW, HEADS, PIPE, ROWS, changed, csv_file, repacked, send, xlsx_file

MIB = 1024 * 1024


def counts() -> dict[str, int]:
    return {model._meta.label: model.objects.count() for model in apps.get_models()}


@dataclass(frozen=True)
class Damaged:
    """A damaged file: its content, the status, and the (cell, word of the reason) of each wrong cell.

    `said` is a word of the sentence where the file as a whole is wrong; `fields` go beside the file.
    """

    name: str
    content: bytes
    cells: tuple[tuple[str, str], ...] = ()
    said: str = ""
    status: int = 400
    file: str = "take-off.csv"
    fields: dict[str, str] = field(default_factory=dict)
    customer: str | None = "Example Mechanical"

    def __str__(self) -> str:
        return self.name


def one(name: str, row, *cells: tuple[str, str], **more) -> Damaged:
    """A CSV with a good row 2 and the damaged row 3."""
    return Damaged(name, csv_file([HEADS, PIPE, row]), cells, **more)


def sheet(name: str, after, *cells: tuple[str, str], rows=ROWS, **more) -> Damaged:
    return Damaged(name, xlsx_file(rows, after=after), cells, file="take-off.xlsx", **more)


def put(where: str, value):
    def after(page):
        page[where] = value

    return after


def with_error(page):
    page["E2"] = "#REF!"
    page["E2"].data_type = "e"


def with_day(page):
    import datetime

    page["E2"] = datetime.date(2026, 7, 8)


def bomb() -> bytes:
    """A true XLSX with a part that unpacks to 60 MiB of spaces."""
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(xlsx_file())) as old,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.infolist():
            new.writestr(part.filename, old.read(part))
        new.writestr("xl/media/image1.png", b" " * (60 * MIB))
    return stream.getvalue()


def lying_bomb() -> bytes:
    """The same, whose directory says that the part is 1,000 bytes long (ZIP application note 4.3.12: offset 24)."""
    content = bytearray(bomb())
    at = content.rindex(b"PK\x01\x02")
    content[at + 24 : at + 28] = struct.pack("<I", 1000)
    return bytes(content)


def with_entity() -> bytes:
    def change(name: str, content: bytes) -> bytes:
        if name != "xl/worksheets/sheet1.xml":
            return content
        return b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>' + content

    return repacked(xlsx_file(), change)


def broken_sheet() -> bytes:
    return repacked(
        xlsx_file(), lambda name, content: content[:-40] if name == "xl/worksheets/sheet1.xml" else content
    )


def other_package() -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("hello.txt", "hello")
    return stream.getvalue()


NUMBERED = ("Order #", "Client", *HEADS)
REDUCER = ("Qty", "Type", "Mat'l", "Ga", "Dia 1", "Dia 2", "Length")

DAMAGED = [
    # the file as a whole
    Damaged("empty", b"", said="empty"),
    Damaged("only spaces", b" \r\n\r\n  \r\n", said="empty"),
    Damaged("only a head", csv_file([HEADS]), said="no rows below"),
    Damaged("no head", csv_file([ELBOW, PIPE]), said="No row of heads"),
    Damaged("letters of no encoding", "Qty,Type\n1,Caf\u00e9".encode() + b"\x81\x8d", said="Windows-1252"),
    Damaged("broken UTF-16", b"\xff\xfeQ\0t\0y\0\xd8", said="neither UTF-8, UTF-16"),
    Damaged("NUL within", csv_file().replace(b"Elbow", b"El\0ow"), said="Line 2 holds a NUL"),
    Damaged("quotation mark missing", csv_file() + b'3,"Elbow,Galv', said="quotation mark"),
    Damaged("a picture", b"\x89PNG\r\n\x1a\n" + bytes(range(1, 200)), said=""),
    Damaged("truncated XLSX", xlsx_file()[:-200], said="broken or no XLSX", file="a.xlsx"),
    Damaged("first half of an XLSX", xlsx_file()[: len(xlsx_file()) // 2], said="broken", file="a.xlsx"),
    Damaged("a ZIP that is no XLSX", other_package(), said="a package, but no XLSX", file="a.xlsx"),
    Damaged("sheet cut off inside", broken_sheet(), said="no XLSX that can be read", file="a.xlsx"),
    Damaged("XLS or with a password", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 500, said="password"),
    Damaged("bomb", bomb(), said="52428800", status=413, file="a.xlsx"),
    Damaged("bomb that lies", lying_bomb(), said="broken", file="a.xlsx"),
    Damaged("outer entity", with_entity(), said="declares entities", file="a.xlsx"),
    Damaged("more than 5 MiB", csv_file() + b"\n" * (5 * MIB), said="5242880", status=413),
    Damaged("61 columns", csv_file([[*HEADS, *map(str, range(52))], ELBOW]), said="at most 60 columns"),
    Damaged("5,001 rows", csv_file([HEADS, *[PIPE] * 5001]), said="at most 5000 rows"),
    Damaged("more rows than are read", csv_file([HEADS, *[PIPE] * 5100]), said="at most 5000 rows"),
    Damaged("501 lines of one order", csv_file([HEADS, *[PIPE] * 501]), said="at most 500 lines an order"),
    Damaged("unknown unit beside it", csv_file(), said="in, mm", fields={"unit": "furlong"}),
    Damaged("unknown field beside it", csv_file(), said="not a field here", fields={"custmer": "x"}),
    Damaged("a number for two orders", csv_file([NUMBERED, ["A", "X", *ELBOW], ["B", "X", *ELBOW]]),
            said="one number cannot be for all", fields={"number": "77"}),
    # heads
    Damaged("unknown head", csv_file([[*HEADS, "Sparkle"], [*ELBOW, "very"]]), (("J1", "no head that is known"),)),
    Damaged("doubled head", csv_file([[*HEADS, "Diam."], [*ELBOW, "14"]]), (("J1", "as “Dia” does already"),)),
    Damaged("in and mm for one size",
            csv_file([[*HEADS[:4], "Dia (in)", "Dia (mm)", "Degrees"], [*ELBOW[:5], "356", "90"]]),
            (("F1", "does already"),)),
    Damaged("values under no head", csv_file([HEADS, [*ELBOW, "", "stray"]]), (("K1", "no head"),)),
    Damaged("no column of the quantity", csv_file([HEADS[1:], ELBOW[1:]]), said="no column for the quantity"),
    Damaged("no column of the material", csv_file([(*HEADS[:2], *HEADS[3:]), (*ELBOW[:2], *ELBOW[3:])]),
            said="no column for the material"),
    # cells
    Damaged("cell of 1,001 characters", csv_file([HEADS, changed(ELBOW, Mark="x" * 1001)]),
            (("I2", "1001 characters"),)),
    one("control character", changed(ELBOW, Mark="A\x07B"), ("I3", "cannot be printed")),
    one("quantity negative", changed(ELBOW, Qty="-4"), ("A3", "1 to 10000")),
    one("quantity nought", changed(ELBOW, Qty="0"), ("A3", "1 to 10000")),
    one("quantity in words", changed(ELBOW, Qty="twelve"), ("A3", "“twelve”")),
    one("quantity broken", changed(ELBOW, Qty="2.5"), ("A3", "“2.5”")),
    one("quantity too many", changed(ELBOW, Qty="10001"), ("A3", "1 to 10000")),
    one("quantity missing", changed(ELBOW, Qty=""), ("A3", "missing")),
    one("NaN", changed(ELBOW, Dia="NaN"), ("E3", "“NaN”")),
    one("infinity", changed(ELBOW, Degrees="inf"), ("F3", "“inf”")),
    one("an exponent beyond all", changed(ELBOW, CLR="1e999"), ("G3", "“1e999”")),
    one("length in no unit known", changed(ELBOW, Dia="14 cubits"), ("E3", "14 cubits")),
    one("fraction over nought", changed(ELBOW, Dia="14 1/0"), ("E3", "14 1/0")),
    one("two units in one cell", changed(ELBOW, Dia="14 in mm"), ("E3", "14 in mm")),
    one("unknown kind", changed(ELBOW, Type="Gadget"), ("B3", "“Gadget”")),
    one("unknown material", changed(ELBOW, Matl="Unobtainium"), ("C3", "“Unobtainium”")),
    one("gauge 99", changed(ELBOW, Ga="99"), ("D3", "Gauge is 99")),
    one("gauge in words", changed(ELBOW, Ga="thick"), ("D3", "“thick”")),
    one("size missing", changed(ELBOW, Dia=""), ("E3", "missing")),
    one("size of another kind", changed(PIPE, Degrees="90"), ("F3", "a pipe has none")),
    one("angle beyond 180°", changed(ELBOW, Degrees="181"), ("F3", "181")),
    one("radius less than half the duct", changed(ELBOW, CLR="3"), ("G3", "at least 7 in")),
    one("three wrong in one row", changed(ELBOW, Qty="x", Ga="99", Dia="wide"),
        ("A3", "“x”"), ("D3", "Gauge is 99"), ("E3", "“wide”")),
    Damaged("wrong cells in many rows", csv_file([HEADS, *[changed(ELBOW, Dia=f"q{n}") for n in range(30)]]),
            tuple((f"E{n + 2}", f"q{n}") for n in range(30))),
    Damaged("unknown end finish", csv_file([[*HEADS, "End A"], [*ELBOW, "glued"]]), (("J2", "“glued”"),)),
    # heads of orders
    Damaged("31 February", csv_file([[*HEADS, "Due"], [*ELBOW, "2027-02-31"]]), (("J2", "not a day of the calendar"),)),
    Damaged("a date of two readings", csv_file([[*HEADS, "Due"], [*ELBOW, "3/4/2027"]]), (("J2", "two ways"),)),
    Damaged("priority 10", csv_file([[*HEADS, "Priority"], [*ELBOW, "10"]]), (("J2", "1 to 9"),)),
    Damaged("two customers of one order", csv_file([NUMBERED, ["7", "Acre Ducts", *ELBOW], ["7", "Bold Air", *PIPE]]),
            (("B3", "in row 2"),), customer=None),
    Damaged("two dates of one order",
            csv_file([["Order #", *HEADS, "Due"], ["7", *ELBOW, "2027-03-04"], ["7", *PIPE, "2027-03-05"]]),
            (("K3", "in row 2"),)),
    Damaged("order number taken", csv_file([["Order #", *HEADS], ["1042", *ELBOW]]), (("A2", "1042 already"),)),
    Damaged("order number that is none", csv_file([["Order #", *HEADS], ["a b/c", *ELBOW]]), (("A2", "letters"),)),
    Damaged("no customer", csv_file(), said="customer is missing", customer=None),
    Damaged("customer's name too long", csv_file([["Client", *HEADS], ["x" * 121, *ELBOW]]),
            (("A2", "120"),), customer=None),
    # what only a spreadsheet can do
    sheet("formula never worked out", put("E2", "=7*2"), ("E2", "never worked out")),
    sheet("error cell", with_error, ("E2", "#REF!")),
    sheet("a date that was 7/8", with_day, ("E2", "makes a date")),
    sheet("merged cells", lambda page: page.merge_cells("C2:C3"), ("C2", "merged"), ("C3", "missing")),
    sheet("text in a number's place", put("A3", "lots"), ("A3", "“lots”")),
    sheet("true in a number's place", put("E3", True), ("E3", "“yes”")),
]  # fmt: skip


@pytest.fixture
def taken(office):
    """Order 1042 is there already."""
    assert office.post("orders/", order_body(number="1042")).status_code == 201
    return office


@pytest.mark.parametrize("damaged", DAMAGED, ids=str)
def test_file_is_refused_whole_and_every_wrong_cell_is_named(taken, damaged):
    before = counts()
    answer = send(
        taken, damaged.content, name=damaged.file, customer=damaged.customer,
        HTTP_IDEMPOTENCY_KEY="first try", **damaged.fields,
    )  # fmt: skip
    assert counts() == before, "something was stored"
    assert answer.status_code == damaged.status, answer.content[:500]
    assert answer["Content-Type"] == "application/problem+json"
    body = answer.json()
    assert body["errors"] if damaged.status == 400 else body["detail"]
    if damaged.cells:
        found = {error["cell"]: error for error in body["errors"]}
        assert sorted(found) == sorted(cell for cell, _ in damaged.cells), [
            (error["cell"], error["reason"]) for error in body["errors"]
        ]
        assert len(body["errors"]) == len(damaged.cells), "a cell is named twice"
        for cell, word in damaged.cells:
            error = found[cell]
            assert word in error["reason"], error
            assert error["row"] == int("".join(filter(str.isdigit, cell)))
            assert error["limit"] and error["column"] != "" or "no head" in error["reason"]
    else:
        told = [body["detail"], *(error["message"] for error in body.get("errors", []))]
        assert damaged.said in " ".join(told), told


def test_there_are_forty_kinds_of_damage_and_more():
    assert len({damaged.name for damaged in DAMAGED}) == len(DAMAGED) >= 40


def test_the_file_that_the_damaged_ones_come_from_is_good(taken):
    """So each is refused for its damage alone."""
    for content, name in ((csv_file(), "a.csv"), (xlsx_file(), "a.xlsx")):
        answer = send(taken, content, name=name)
        assert answer.status_code == 201, answer.content[:500]
        assert answer.json()["pieces"] == 6  # 4 elbows and 2 pipes
