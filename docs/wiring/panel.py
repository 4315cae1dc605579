"""The overview, the bus, and what a person sees and presses."""

import schemdraw.elements as elm

import values as v
from common import block, box, down, drawing, ground, note, port, title, wire


def arrow(d, start, end, text):
    """A named signal from block to block."""
    d += elm.Arrow().at(start).to(end)
    note(d, ((start[0] + end[0]) / 2, start[1] + 0.3), text, "center")


def overview():
    """All of it in blocks."""
    d = drawing()
    title(d, (0, 8.8), "What is connected to what")
    box(d, (0, -1.4), (4.4, 8.2), "the machine")
    box(d, (7.6, -1.4), (20.1, 8.2), "enclosure of the board")
    for y, left, right, text in (
        (6.6, "low-voltage rail\n24, 12 or 5 V", "supply, hold-up,\npower-fail warning", "fused"),
        (4.5, "trim, thread break,\njump, needle code", "opto-couplers,\nfilters", "signals"),
        (2.4, "main shaft: own\nsensor or encoder tap", "pull-up, filter\n(tap: opto-coupler)", "pulses"),
        (0.3, "needle-position\npotentiometer", "divider, clamp,\nbuffer", "voltage"),
    ):
        block(d, (0.2, y - 0.75), (4.2, y + 0.75), left, 11)
        block(d, (8, y - 0.75), (11.8, y + 0.75), right, 11)
        arrow(d, (4.2, y), (8, y), text)
        d += elm.Arrow().at((11.8, y)).to((13.6, y))
    block(d, (13.6, -0.5), (16, 7.4), "controller\nmodule\n(RP2040)")
    for y, text in ((6.6, "memory, clock"), (4.5, "display, buttons,\nLED, buzzer"), (2.4, "service port")):
        wire(d, (16, y), (16.6, y))
        block(d, (16.6, y - 0.75), (19.8, y + 0.75), text, 11)
    note(d, (0, -2.1), "Every arrow points away from the machine: no signal there is driven or fed, and each is loaded no more than section 1 allows.")
    return d


def bus():
    """The I2C bus with its pull-ups."""
    d = drawing()
    title(d, (-2.5, 4.4), "I²C bus, 400 kHz")
    wire(d, (-1, 3), (17, 3))
    port(d, (-1, 3), "3.3 V", "left")
    wire(d, (-1, 0.6), (17, 0.6))
    port(d, (-1, 0.6), "GP16 SDA", "left")
    wire(d, (-1, -0.4), (17, -0.4))
    port(d, (-1, -0.4), "GP17 SCL", "left")
    for x, y, name in ((0.6, 0.6, "R1"), (2.9, -0.4, "R2")):
        d += elm.Dot().at((x, 3))
        d += elm.Resistor().at((x, 3)).down().length(3 - y).label(f"{name}\n{v.ohm(v.BUS_OHM)}", loc="bottom")
        d += elm.Dot().at((x, y))
    for x, name in (
        (5.4, "EEPROM or\nFRAM, 0x50\n32 KiB\nWP, A0 to A2\nto 0 V"),
        (9.8, "display\n128 × 64,\n0x3C"),
        (14.2, "clock\n(optional),\n0x68\nown cell"),
    ):
        block(d, (x - 1.5, -5), (x + 1.5, -1.8), name, 11)
        for shift, y in ((-0.9, 0.6), (-0.2, -0.4)):
            d += elm.Dot().at((x + shift, y))
            wire(d, (x + shift, y), (x + shift, -1.8))
        d += elm.Dot().at((x + 0.6, 3))
        wire(d, (x + 0.6, 3), (x + 0.6, -1.8))
        wire(d, (x, -5), (x, -5.5))
        ground(d, (x, -5.5))
        d += elm.Dot().at((x + 0.6, 1.9))
        d += elm.Capacitor().at((x + 0.6, 1.9)).right().length(1.6).label("100 nF")
        ground(d, (x + 2.2, 1.9))
    return d


def panel():
    """Buttons, status LED, buzzer, service port."""
    d = drawing()
    title(d, (-1.6, 4.2), "Buttons, status LED, buzzer, service port")
    # A button.
    port(d, (0, 2.6), "3.3 V", "left")
    wire(d, (0, 2.6), (1, 2.6))
    d += elm.Resistor().at((1, 2.6)).down().length(2.2).label("10 kΩ", loc="top")
    d += elm.Dot().at((1, 0.4))
    d += elm.Button().at((1, 0.4)).down().length(2.4)
    ground(d, (1, -2))
    d += elm.Resistor().at((1, 0.4)).right().length(2.6).label("1 kΩ")
    d += elm.Dot().at((3.6, 0.4))
    down(d, elm.Capacitor(), (3.6, 0.4), 2.4, "100 nF", loc="bottom")
    wire(d, (3.6, 0.4), (4.4, 0.4))
    port(d, (4.4, 0.4), "GP11, 12, 13")
    note(d, (0, -4), "Back, Next, Act: one of these each")
    # The status LED.
    port(d, (9.4, 2.6), "GP18", "left")
    wire(d, (9.4, 2.6), (10, 2.6))
    d += elm.Resistor().at((10, 2.6)).down().length(2.2).label(f"{v.ohm(v.STATUS_OHM)}", loc="bottom")
    d += elm.LED().at((10, 0.4)).down().length(2.4)
    ground(d, (10, -2))
    note(d, (9.2, -4), "status LED")
    # The buzzer.
    port(d, (13.6, -0.4), "GP19", "left")
    d += elm.Resistor().at((13.6, -0.4)).right().length(2.2).label("1 kΩ")
    transistor = elm.NFet().right().reverse().anchor("gate").at((16.2, -0.4))
    wire(d, (15.8, -0.4), (16.2, -0.4))
    d += transistor
    drain, source = (tuple(transistor.absanchors[name]) for name in ("drain", "source"))
    d += elm.Dot().at((15.8, -0.4))
    down(d, elm.Resistor(), (15.8, -0.4), 2.2, "100 kΩ", loc="top")
    wire(d, source, (source[0], -2.6))
    ground(d, (source[0], -2.6))
    x, y = drain
    wire(d, (x, y), (x, 0.8), (x + 2.4, 0.8))
    d += elm.Dot().at((x, 0.8))
    d += elm.Inductor2(loops=3).at((x, 2.8)).down().length(2).label("buzzer", loc="top")
    d += elm.Schottky().at((x + 2.4, 0.8)).up().length(2).label("flyback\ndiode", loc="bottom")
    wire(d, (x + 2.4, 2.8), (x, 2.8))
    d += elm.Dot().at((x, 2.8))
    wire(d, (x, 2.8), (x, 3.2))
    port(d, (x, 3.2), "5 V, ahead of D2")
    note(d, (14.4, -4), "magnetic buzzer")
    # The service port.
    for y, pin, name in ((2.2, "GP0", "RX of the adapter"), (0.6, "GP1", "TX of the adapter")):
        port(d, (23, y), pin, "left")
        d += elm.Resistor().at((23, y)).right().length(2.4).label("330 Ω")
        port(d, (25.4, y), name)
    note(d, (22.2, -1), "service port, 3.3 V levels only;\nthe adapter's 0 V to the board's")
    return d


PICTURES = {"overview": overview, "bus": bus, "panel": panel}
