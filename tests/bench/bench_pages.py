"""Travelers a second against a bare page with the same code, table and drawing, interleaved in one run.

Run from the top: `python -m tests.bench.bench_pages`. The bare page is the PDF library alone with its own
font; figures wander with the machine's load, the ratio less so. 0.6 is the least that is wanted.
"""

from __future__ import annotations

import io
import time

import pypdfium2
from qrcode import QRCode
from qrcode.constants import ERROR_CORRECT_Q
from reportlab.pdfgen.canvas import Canvas

from tests.fittings.drawing.samples import elbow
from tests.travelers.documents.samples import PRINTED, SHOP, sheet
from travelers.documents.traveler import travelers_pdf

COUNT = 60
ELBOWS = [elbow(14, 90, 5, samples=120) for _ in range(COUNT)]  # not the same object: nothing to share


def codes(run: int) -> list[str]:
    return [f"K{run}{number:06d}X" for number in range(COUNT)]


def bare(run: int) -> int:
    canvas = Canvas(io.BytesIO(), pagesize=(612, 792))
    for code, development in zip(codes(run), ELBOWS, strict=True):
        symbol = QRCode(version=1, error_correction=ERROR_CORRECT_Q, border=0)
        symbol.add_data(code, optimize=0)
        symbol.make(fit=False)
        path = canvas.beginPath()
        for row, line in enumerate(symbol.modules):
            for column, dark in enumerate(line):
                if dark:
                    path.rect(440 + 2.83 * column, 700 - 2.83 * row, 2.83, 2.83)
        canvas.drawPath(path, stroke=0, fill=1)
        path = canvas.beginPath()
        for segment in development["segments"]:
            for number, (x, y) in enumerate(segment["net_outline"][::4]):
                (path.lineTo if number else path.moveTo)(40 + 5 * x, 400 + 40 * segment["position"] + y)
        canvas.drawPath(path)
        canvas.setFont("Helvetica", 12)
        for at, segment in enumerate(development["segments"]):
            for column, name in enumerate(("stretch_out", "throat", "heel", "lap")):
                canvas.drawString(40 + 80 * column, 300 - 16 * at, f"{segment[name]:.3f}")
        canvas.showPage()
    canvas.save()
    return COUNT


def ours(run: int, developments) -> int:
    sheets = [
        sheet(development, 1, code=code) for code, development in zip(codes(run), developments, strict=True)
    ]
    return len(pypdfium2.PdfDocument(travelers_pdf(sheets, shop=SHOP, printed_at_text=PRINTED)))


def main() -> None:
    for run in range(1, 6, 2):
        speeds = []
        for act in (
            lambda run=run: bare(run),
            lambda run=run: ours(run + 1, ELBOWS),
            lambda run=run: ours(run + 2, [ELBOWS[0]] * COUNT),
        ):
            start = time.perf_counter()
            pages = act()
            speeds.append(pages / (time.perf_counter() - start))
        base, different, equal = speeds
        print(
            f"bare {base:.0f} pages/s; travelers all different {different:.0f} ({different / base:.2f}), "
            f"all of one line {equal:.0f} ({equal / base:.2f})"
        )


if __name__ == "__main__":
    main()
