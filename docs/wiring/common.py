"""What the pictures share: the look, and a few parts that schemdraw does not have."""

import schemdraw
import schemdraw.elements as elm

schemdraw.use("svg")
elm.style(elm.STYLE_IEC)
schemdraw.config(fontsize=12, font="sans-serif", bgcolor="white", margin=0.4, lw=1.6)

GREY = "#555555"
BLUE = "#0b4f8a"


def drawing():
    """An empty drawing."""
    return schemdraw.Drawing(show=False)


def text_at(d, at, text, halign, color, size):
    """A text, its middle line at the height of `at`: schemdraw puts it a little off."""
    label = elm.Label().right().at((at[0] - 0.1, at[1] - 0.12))
    d += label.label(text, loc="center", halign=halign, valign="center", ofst=(0, 0), fontsize=size, color=color)


def reserve(d, at, text, size):
    """Room for a text that begins at `at`: schemdraw takes fonts to be narrower than some are."""
    width = max(map(len, text.splitlines())) * size * 0.0172
    d += elm.Gap().at(at).to((at[0] + width, at[1]))


def note(d, at, text, halign="left", color=GREY, size=11):
    """A remark."""
    if halign == "left":
        reserve(d, at, text, size)
    text_at(d, at, text, halign, color, size)


def title(d, at, text):
    """What the picture shows."""
    note(d, at, text, color="black", size=15)


def port(d, at, text, direction="right", color=BLUE):
    """A named end of a wire; the name stands beside it."""
    d += elm.Dot(open=True).right().at(at)
    shift, halign = {"right": (0.2, "left"), "left": (-0.2, "right")}[direction]
    note(d, (at[0] + shift, at[1]), text, halign, color, 12)


def box(d, corner, opposite, text, color=GREY):
    """A dashed frame, named at its upper left."""
    (x0, y0), (x1, y1) = corner, opposite
    for a, b in (((x0, y0), (x1, y0)), ((x1, y0), (x1, y1)), ((x1, y1), (x0, y1)), ((x0, y1), (x0, y0))):
        d += elm.Line().at(a).to(b).linestyle("--").color(color)
    if text:
        note(d, (x0 + 0.15, max(y0, y1) - 0.35), text, color=color)


def block(d, corner, opposite, text, size=12):
    """A function, drawn as a rectangle with its name."""
    (x0, y0), (x1, y1) = corner, opposite
    d += elm.Line().at((x0, y0)).to((x1, y0))
    d += elm.Line().at((x1, y0)).to((x1, y1))
    d += elm.Line().at((x1, y1)).to((x0, y1))
    d += elm.Line().at((x0, y1)).to((x0, y0))
    text_at(d, ((x0 + x1) / 2, (y0 + y1) / 2), text, "center", "black", size)


def wire(d, *points):
    """A wire through the points."""
    for a, b in zip(points, points[1:]):
        d += elm.Line().at(a).to(b)


def ground(d, at):
    """The board's 0 V."""
    d += elm.GroundSignal().right().at(at)


def down(d, part, at, length, label, loc="bottom"):
    """A two-terminal part hanging from `at`, `length` long, and its ground."""
    d += part.at(at).down().length(length).label(label, loc=loc)
    ground(d, (at[0], at[1] - length))


def optocoupler(d, at):
    """LED on the left, transistor on the right; `at` is the LED's anode.

    Gives the LED's cathode, the collector and the emitter.
    """
    x, y = at
    d += elm.LED().at((x, y)).down().length(2)
    box(d, (x - 0.8, y - 2.2), (x + 2.4, y + 0.2), "")
    transistor = elm.NpnPhoto().at((x + 1.4, y - 1)).anchor("base").right()
    d += transistor
    return (x, y - 2), transistor.absanchors["collector"], transistor.absanchors["emitter"]
