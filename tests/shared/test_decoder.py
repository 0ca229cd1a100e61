"""The kept decoder reads a code in Chromium, from our own files alone, under the content policy of a scan page."""

import functools
import json
import threading
from contextlib import contextmanager
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
import qrcode
from PIL import Image
from playwright.sync_api import expect

STATIC = Path(__file__).resolve().parents[2] / "shared" / "static"
POLICY = "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'"
PAGE = (
    '<!doctype html><title>wait</title><img src="/codes.png"><script type="module" src="/page.js"></script>'
)
SCRIPT = """
import { openDecoder } from "/static/shared/decoder.js";
const decoder = await openDecoder("/static/shared/vendor/zxing-wasm-3.1.3.reader.wasm");
const picture = document.querySelector("img");
await picture.decode();
document.title = JSON.stringify(await decoder.detect(picture));
"""


class Handler(SimpleHTTPRequestHandler):
    extensions_map = {
        **SimpleHTTPRequestHandler.extensions_map,
        ".wasm": "application/wasm",
        ".js": "text/javascript",
    }

    def translate_path(self, path):
        if path.startswith("/static/"):
            return str(STATIC / path.removeprefix("/static/"))
        return super().translate_path(path)

    def end_headers(self):
        self.send_header("Content-Security-Policy", POLICY)
        super().end_headers()

    def log_message(self, *args):
        pass


@contextmanager
def serving(folder: Path):
    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Handler, directory=str(folder)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()


def symbol(text: str, box: int) -> Image.Image:
    code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_Q, box_size=box, border=4)
    code.add_data(text)
    return code.make_image().get_image().convert("RGB")


@pytest.mark.browser
def test_decoder_reads_codes_and_puts_the_aimed_one_first(tmp_path, chromium):
    picture = Image.new("RGB", (1280, 720), "#aaaaaa")
    picture.paste(symbol("R70042PB", 6), (100, 60))
    picture.paste(symbol("R70043KM", 5), (560, 270))
    picture.save(tmp_path / "codes.png")
    (tmp_path / "page.html").write_text(PAGE)
    (tmp_path / "page.js").write_text(SCRIPT)

    asked = []
    with serving(tmp_path) as address:
        page = chromium.new_page()
        page.on("request", lambda request: asked.append(request.url))
        page.goto(f"{address}/page.html")
        expect(page).not_to_have_title("wait", timeout=20_000)
        found = json.loads(page.title())
        page.close()

    assert [code["text"] for code in found] == ["R70043KM", "R70042PB"]
    assert found[0]["cx"] == pytest.approx(560 + 72.5, abs=2)
    assert found[0]["box"]["width"] == pytest.approx(105, abs=3)
    assert all(url.startswith(address) for url in asked)
