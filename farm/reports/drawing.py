"""A few shapes, painted alike on screen (SVG) and on paper (PDF).

Lengths are points, x to the right and y down. Colour never carries meaning: a shape has a tone, and
the page's stylesheet may colour the classes `ink`, `soft`, `accent`, `wash` and `paper`.
"""

from dataclasses import dataclass
from enum import Enum
from html import escape

from reportlab.pdfgen.canvas import Canvas

from farm.reports.faces import font, plain, text_width

Point = tuple[float, float]


class Tone(Enum):
    """Class on screen, strength of the text colour on screen, grey (or colour) on paper."""

    INK = ("ink", 1.0, "#22272b")
    SOFT = ("soft", 0.72, "#565d63")
    ACCENT = ("accent", 0.85, "#1d4f6e")
    WASH = ("wash", 0.07, "#eef2f3")
    PAPER = ("paper", 1.0, "#ffffff")


@dataclass(frozen=True)
class Line:
    start: Point
    end: Point
    tone: Tone = Tone.INK
    width: float = 1
    dashed: bool = False


@dataclass(frozen=True)
class Curve:
    """A line that leaves and arrives level, with an arrow head if wished."""

    start: Point
    end: Point
    tone: Tone = Tone.SOFT
    width: float = 1
    dashed: bool = False
    arrow: bool = False

    def bends(self) -> tuple[Point, Point]:
        middle = (self.start[0] + self.end[0]) / 2
        return (middle, self.start[1]), (middle, self.end[1])

    def at(self, part: float) -> Point:
        """Give the point at a part (0 to 1) of the way."""
        (x1, y1), (x2, y2) = self.start, self.end
        bend, rest = (x1 + x2) / 2, 1 - part
        x = rest**3 * x1 + 3 * rest * part * bend + part**3 * x2
        return x, (rest**3 + 3 * rest**2 * part) * y1 + (3 * rest * part**2 + part**3) * y2

    def head(self) -> tuple[Point, Point, Point]:
        x, y = self.end
        size = 4 + self.width
        return (x, y), (x - size * 1.5, y - size * 0.6), (x - size * 1.5, y + size * 0.6)


@dataclass(frozen=True)
class Box:
    """A rectangle; without an outline it is only its fill."""

    corner: Point
    width: float
    height: float
    fill: Tone = Tone.PAPER
    outline: Tone | None = Tone.SOFT
    line_width: float = 0.8
    dashed: bool = False


@dataclass(frozen=True)
class Text:
    """One line of writing; `at` is on its base line at the start, middle or end."""

    at: Point
    words: str
    size: float = 9
    bold: bool = False
    anchor: str = "start"
    tone: Tone = Tone.INK


Shape = Line | Curve | Box | Text


@dataclass(frozen=True)
class Drawing:
    width: float
    height: float
    shapes: tuple[Shape, ...]
    title: str
    description: str


def svg(drawing: Drawing, key: str = "drawing") -> str:
    """Write the drawing as inline SVG that takes the page's text colour and scales down.

    `key` makes the ids of title and description unique where a page shows several drawings.
    """
    size = f"{_n(drawing.width)} {_n(drawing.height)}"
    return "\n".join(
        [
            f'<svg class="drawing" role="img" aria-labelledby="{key}-title {key}-desc"'
            f' xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}"'
            f' width="{_n(drawing.width)}" height="{_n(drawing.height)}"'
            ' font-family="Helvetica, Arial, sans-serif">',
            f'<title id="{key}-title">{escape(drawing.title)}</title>',
            f'<desc id="{key}-desc">{escape(drawing.description)}</desc>',
            *[_svg_shape(shape) for shape in drawing.shapes],
            "</svg>",
        ]
    )


def paint(canvas: Canvas, drawing: Drawing, corner: Point, *, scale: float = 1) -> None:
    """Paint the drawing on a PDF page, its upper left corner at the given point of the page."""
    canvas.saveState()
    canvas.translate(*corner)
    canvas.scale(scale, scale)
    for shape in drawing.shapes:
        _paint_shape(canvas, shape)
    canvas.restoreState()


def room_for(words: str, size: float, *, bold: bool = False) -> float:
    """Measure words with a fifth to spare: a screen's own font may be wider than the paper's."""
    return text_width(words, size, bold=bold) * 1.2


def fitted(words: str, width: float, size: float, *, bold: bool = False) -> str:
    """Shorten words to a width, ending in an ellipsis."""
    if room_for(words, size, bold=bold) <= width:
        return words
    while words and room_for(words + "…", size, bold=bold) > width:
        words = words[:-1]
    return words.rstrip() + "…"


def _svg_shape(shape: Shape) -> str:
    match shape:
        case Line():
            path = f"M{_p(shape.start)} L{_p(shape.end)}"
            return f'<path d="{path}" {_svg_stroke(shape.tone, shape.width, shape.dashed)}/>'
        case Curve():
            first, second = shape.bends()
            path = f"M{_p(shape.start)} C{_p(first)} {_p(second)} {_p(shape.end)}"
            line = f'<path d="{path}" {_svg_stroke(shape.tone, shape.width, shape.dashed)}/>'
            head = f'<polygon points="{" ".join(map(_p, shape.head()))}" {_svg_fill(shape.tone)}/>'
            return line + (head if shape.arrow else "")
        case Box():
            place = (
                f'x="{_n(shape.corner[0])}" y="{_n(shape.corner[1])}"'
                f' width="{_n(shape.width)}" height="{_n(shape.height)}"'
            )
            edge = shape.outline
            frame = _svg_stroke(edge, shape.line_width, shape.dashed) if edge else ""
            filled = f"<rect {place} {_svg_fill(shape.fill)}/>"
            return filled + (f"<rect {place} {frame}/>" if frame else "")
        case Text():
            weight = ' font-weight="bold"' if shape.bold else ""
            return (
                f'<text x="{_n(shape.at[0])}" y="{_n(shape.at[1])}" font-size="{_n(shape.size)}"'
                f' text-anchor="{shape.anchor}"{weight} {_svg_fill(shape.tone)}>'
                f"{escape(shape.words)}</text>"
            )


def _svg_fill(tone: Tone) -> str:
    name, strength, _ = tone.value
    if tone is Tone.PAPER:  # the system's own page colour, until the stylesheet says better
        return f'class="{name}" fill="Canvas"'
    return f'class="{name}" fill="currentColor" fill-opacity="{strength}"'


def _svg_stroke(tone: Tone, width: float, dashed: bool) -> str:
    name, strength, _ = tone.value
    dashes = ' stroke-dasharray="4 3"' if dashed else ""
    return (
        f'class="{name} line" fill="none" stroke="currentColor" stroke-opacity="{strength}"'
        f' stroke-width="{_n(width)}"{dashes}'
    )


def _paint_shape(canvas: Canvas, shape: Shape) -> None:
    """Paint one shape; the page's y runs up, ours down, so every y changes its sign."""
    match shape:
        case Line():
            _set_line(canvas, shape.tone, shape.width, dashed=shape.dashed)
            canvas.line(*_up(shape.start), *_up(shape.end))
        case Curve():
            _set_line(canvas, shape.tone, shape.width, dashed=shape.dashed)
            path = canvas.beginPath()
            path.moveTo(*_up(shape.start))
            first, second = map(_up, shape.bends())
            path.curveTo(*first, *second, *_up(shape.end))
            canvas.drawPath(path)
            if shape.arrow:
                _paint_head(canvas, shape)
        case Box():
            canvas.setFillColor(shape.fill.value[2])
            if shape.outline:
                _set_line(canvas, shape.outline, shape.line_width, dashed=shape.dashed)
            x, y = _up(shape.corner)
            outlined = int(shape.outline is not None)
            canvas.rect(x, y - shape.height, shape.width, shape.height, stroke=outlined, fill=1)
        case Text():
            canvas.setFillColor(shape.tone.value[2])
            words = plain(shape.words)
            canvas.setFont(font(shape.bold, words), shape.size)
            draw = {
                "start": canvas.drawString,
                "middle": canvas.drawCentredString,
                "end": canvas.drawRightString,
            }[shape.anchor]
            draw(*_up(shape.at), words)


def _paint_head(canvas: Canvas, curve: Curve) -> None:
    canvas.setFillColor(curve.tone.value[2])
    path = canvas.beginPath()
    tip, upper, lower = map(_up, curve.head())
    path.moveTo(*tip)
    path.lineTo(*upper)
    path.lineTo(*lower)
    path.close()
    canvas.drawPath(path, stroke=0, fill=1)


def _set_line(canvas: Canvas, tone: Tone, width: float, *, dashed: bool) -> None:
    canvas.setStrokeColor(tone.value[2])
    canvas.setLineWidth(width)
    canvas.setDash([4, 3] if dashed else [])


def _up(point: Point) -> Point:
    return point[0], -point[1]


def _p(point: Point) -> str:
    return f"{_n(point[0])},{_n(point[1])}"


def _n(value: float) -> str:
    """Write a length with at most one decimal."""
    return f"{value:.1f}".removesuffix(".0")
