"""The letterhead: which pictures are taken as logo, and that papers and programs have it."""

import base64
import struct
import zlib
from io import BytesIO

import pypdfium2
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from shared.problems import TooLarge, WrongInput
from tests import factories
from tests.pages import text_of
from tests.travelers.documents.reading import words
from travelers.letterhead import MOST_BYTES, logo_keep, shop_head
from travelers.models import Letterhead

pytestmark = pytest.mark.usefixtures("shop")


def keep(content: bytes) -> Letterhead:
    return logo_keep(content=content, actor=factories.OFFICE_ACTOR, now=factories.NOW)


def image_count(data: bytes) -> int:
    page = pypdfium2.PdfDocument(data)[0]
    return sum(item.type == 3 for item in page.get_objects(max_depth=3))  # FPDF_PAGEOBJ_IMAGE


@pytest.mark.parametrize("form", ["PNG", "JPEG"])
def test_a_picture_is_kept_as_a_plain_png_and_stands_on_papers(form, office_page):
    row = keep(factories.picture(form=form))
    kept = Image.open(BytesIO(bytes(row.logo)))
    assert (kept.format, kept.size) == ("PNG", (300, 100))
    sample = office_page.get("/letterhead/sample.pdf").content
    assert image_count(sample) == 1
    assert "Letterhead" in words(sample)[0]


def test_a_large_picture_is_made_smaller_in_its_proportions():
    row = keep(factories.picture(3000, 1000))
    assert (row.width, row.height) == (1200, 400)


def too_wide_png() -> bytes:
    """A PNG that says 60,000 × 60,000 px in a few bytes, by hand: signature, IHDR, nothing more (PNG 1.2, 11.2.2)."""
    body = b"IHDR" + struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))


def svg() -> bytes:
    return b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'


def gif() -> bytes:
    stream = BytesIO()
    Image.new("P", (100, 100)).save(stream, "GIF")
    return stream.getvalue()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "no PNG or JPEG"),
        (b"not a picture", "no PNG or JPEG"),
        (svg(), "no PNG or JPEG"),
        (gif(), "no PNG or JPEG"),
        (factories.picture()[:60], "no PNG or JPEG"),
        (too_wide_png(), "no PNG or JPEG"),
        (factories.picture(8, 100), "8 × 100 px"),
        (factories.picture(6001, 20), "6001 × 20 px"),
    ],
    ids=["nothing", "text", "svg", "gif", "torn", "bomb", "too small", "too wide"],
)
def test_what_is_no_logo_is_refused_and_the_one_before_stays(content, said):
    before = bytes(keep(factories.picture()).logo)
    with pytest.raises(WrongInput) as wrong:
        keep(content)
    assert said in wrong.value.detail
    assert bytes(Letterhead.objects.get().logo) == before


def test_more_than_a_mebibyte_is_refused_by_its_size():
    with pytest.raises(TooLarge, match="1 MiB"):
        keep(factories.picture() + b"\0" * MOST_BYTES)


def test_the_page_takes_a_picture_says_what_is_wrong_and_gives_it_up(office_page):
    answer = office_page.post("/letterhead/", {"logo": SimpleUploadedFile("logo.png", b"nothing like it")})
    assert answer.status_code == 422 and "The file is no PNG or JPEG picture" in text_of(answer)
    assert office_page.get("/letterhead/logo.png").status_code == 404
    good = SimpleUploadedFile("logo.png", factories.picture())
    page = text_of(office_page.post("/letterhead/", {"logo": good}, follow=True))
    assert "The logo stands on every paper" in page and "300 × 100 px" in page
    assert office_page.get("/letterhead/logo.png")["Content-Type"] == "image/png"
    assert "shop's name alone" in text_of(office_page.post("/letterhead/remove/", follow=True)).replace(
        "’", "'"
    )
    assert shop_head().logo == b""


def test_a_program_reads_and_changes_it(client):
    key = {"HTTP_AUTHORIZATION": f"Token {factories.key_for('office')}"}
    sent = {"logo": base64.b64encode(factories.picture()).decode()}
    answer = client.put("/api/v1/letterhead/", sent, content_type="application/json", **key)
    assert answer.status_code == 200 and answer.json()["logo"]["width"] == 300
    wrong = client.put("/api/v1/letterhead/", {"logo": "%%%"}, content_type="application/json", **key)
    assert wrong.status_code == 400 and wrong.json()["errors"][0]["field"] == "logo"
    gone = client.put("/api/v1/letterhead/", {"logo": None}, content_type="application/json", **key)
    assert gone.json()["logo"] is None and not Letterhead.objects.exists()
