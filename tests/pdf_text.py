"""Reads the words of a made page with their places: enough of PDF for what typst writes, no more."""

from __future__ import annotations

import re
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from pyhanko.pdf_utils.reader import PdfFileReader

_STRING = rb"\((?:\\.|[^\\()])*\)"
for _ in range(4):  # brackets in pairs stand unescaped, also within one another
    _STRING = rb"\((?:\\.|[^\\()]|" + _STRING + rb")*\)"
_TOKEN = re.compile(
    rb"(?P<cm>(?:-?[\d.]+\s+){6})cm|(?P<tm>(?:-?[\d.]+\s+){6})Tm|/(?P<font>f\d+)\s+(?P<size>[\d.]+)\s+Tf"
    rb"|\[(?P<run>(?:" + _STRING + rb"|[^\]()])*)\]\s*TJ|(?P<one>" + _STRING + rb")\s*Tj|\b(?P<state>[qQ])\b",
    re.DOTALL,
)
_ESCAPE = re.compile(rb"\\([0-7]{1,3}|\r?\n|.)", re.DOTALL)
_NAMED = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


@dataclass(frozen=True)
class Run:
    """A run of glyphs: its text, the start of its base line and its width, in points from bottom left."""

    page: int
    x: float
    y: float
    width: float
    text: str


def attachments(pdf: bytes) -> dict[str, tuple[bytes, str]]:
    """Return each attached file by name: its bytes and its relationship to the page."""
    names = PdfFileReader(BytesIO(pdf)).root["/Names"]["/EmbeddedFiles"]["/Names"]
    found = {}
    for n in range(0, len(names), 2):
        spec = names[n + 1]
        found[str(names[n])] = (spec["/EF"]["/F"].data, str(spec["/AFRelationship"])[1:])
    return found


def page_texts(pdf: bytes) -> list[str]:
    """Return the text of every page, run after run, spaces as they stand."""
    pages: dict[int, list[str]] = {}
    for run in runs(pdf):
        pages.setdefault(run.page, []).append(run.text)
    return ["\n".join(pages.get(n, [])) for n in range(count(pdf))]


def words(pdf: bytes) -> str:
    """Return all text without spaces, breaks and places to break: a line may have wrapped anywhere."""
    return squeezed("".join(page_texts(pdf)))


def squeezed(text: str) -> str:
    return re.sub(r"[\s\u200b\u2007]", "", text)


def count(pdf: bytes) -> int:
    return int(PdfFileReader(BytesIO(pdf)).root["/Pages"]["/Count"])


def runs(pdf: bytes) -> list[Run]:
    """Return every run of text of every page."""
    found = []
    for n, page in enumerate(_pages(PdfFileReader(BytesIO(pdf)).root["/Pages"])):
        fonts = {
            str(name)[1:]: _Font(page["/Resources"]["/Font"][name]) for name in page["/Resources"]["/Font"]
        }
        found += _runs(page["/Contents"].data, fonts, n)
    return found


def _pages(node: Any) -> list[Any]:
    if node["/Type"] == "/Page":
        return [node]
    return [page for n in range(len(node["/Kids"])) for page in _pages(node["/Kids"][n])]


def _runs(content: bytes, fonts: dict[str, _Font], page: int) -> list[Run]:
    found, stack, at = [], [], (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
    font, size, behind = next(iter(fonts.values())), 0.0, 0.0
    for token in _TOKEN.finditer(content):
        if token["state"] == b"q":
            stack.append(at)
        elif token["state"]:
            at = stack.pop()
        elif token["cm"]:
            a, b, c, d, x, y = map(float, token["cm"].split())
            g, h, i, j, u, v = at
            at = (
                a * g + b * i,
                a * h + b * j,
                c * g + d * i,
                c * h + d * j,
                x * g + y * i + u,
                x * h + y * j + v,
            )
        elif token["tm"]:
            behind = float(token["tm"].split()[4]) * at[0]
        elif token["font"]:
            font, size = fonts[token["font"].decode()], float(token["size"])
        else:
            text, width = font.read(token["run"] or token["one"])
            wide = width * size * at[0] / 1000
            found.append(Run(page, at[4] + behind, at[5], wide, text))
            behind += wide
    return found


class _Font:
    """What the codes of a font mean and how wide they are."""

    def __init__(self, font: Any) -> None:
        self.text: dict[int, str] = {}
        cmap = font["/ToUnicode"].data.decode("ascii")
        for code, meaning in re.findall(r"<([0-9A-F]{4})> <([0-9A-F]+)>\n", cmap):
            if code != "0000" or meaning != "FFFF":
                self.text[int(code, 16)] = bytes.fromhex(meaning).decode("utf-16-be")
        assert "beginbfrange" not in cmap, "this reader knows single codes only"
        own = font["/DescendantFonts"][0]
        self.default = float(own.get("/DW", 1000))
        self.wide: dict[int, float] = {}
        given = list(own["/W"])
        while given:
            first, then = int(given.pop(0)), given.pop(0)
            if isinstance(then, list):
                self.wide.update({first + n: float(w) for n, w in enumerate(then)})
            else:
                self.wide.update(dict.fromkeys(range(first, int(then) + 1), float(given.pop(0))))

    def read(self, run: bytes) -> tuple[str, float]:
        """Return the text of a run and its width in thousandths of the size."""
        text, width = "", 0.0
        for part in re.finditer(rb"(" + _STRING + rb")|(-?[\d.]+)", run, re.DOTALL):
            if part[2]:
                width -= float(part[2])
                continue
            raw = _ESCAPE.sub(_unescape, part[1][1:-1])
            for n in range(0, len(raw), 2):
                code = int.from_bytes(raw[n : n + 2], "big")
                text += self.text.get(code, "")
                width += self.wide.get(code, self.default)
        return text, width


def _unescape(found: re.Match[bytes]) -> bytes:
    what = found[1]
    if what[:1].isdigit():
        return bytes([int(what, 8)])
    return b"" if what.endswith(b"\n") else _NAMED.get(what, what)
