"""What comes from the machine: inputs, own sensors, the needle-position tap."""

import schemdraw.elements as elm

import values as v
from common import block, box, down, drawing, ground, note, optocoupler, port, title, wire


def collector(d, at, gpio, series, farads):
    """Pull-up, RC filter and the pin, from the collector `at`."""
    x, y = at
    wire(d, (x, y), (x, y + 0.9), (x + 1.5, y + 0.9))
    x, y = x + 1.5, y + 0.9
    d += elm.Dot().at((x, y))
    d += elm.Resistor().at((x, y)).up().length(2.2).label(f"R2 {v.ohm(v.COLLECTOR_OHM)}", loc="bottom")
    port(d, (x, y + 2.2), "3.3 V")
    d += elm.Resistor().at((x, y)).right().length(3.2).label(f"R3 {v.ohm(series)}", loc="bottom")
    d += elm.Dot().at((x + 3.2, y))
    down(d, elm.Capacitor(), (x + 3.2, y), 2.4, f"C1 {v.farad(farads)}", loc="bottom")
    wire(d, (x + 3.2, y), (x + 4.6, y))
    port(d, (x + 4.6, y), gpio)


def opto():
    """A signal that drives a load many times the LED's current."""
    d = drawing()
    title(d, (-1.6, 4.4), "Opto-coupled input, for an output that already drives a strong load")
    port(d, (0, 1.5), "machine signal", "left")
    d += elm.Resistor().at((0, 1.5)).right().length(3).label(
        "R1\n5 V: " + v.ohm(v.LED_OHM[5]) + ", 12 V: " + v.ohm(v.LED_OHM[12]) + ",\n24 V: " + v.ohm(v.LED_OHM[24])
    )
    wire(d, (3, 1.5), (5, 1.5), (5, 1))
    d += elm.Dot().at((3.4, 1.5))
    d += elm.Diode().at((3.4, -1.5)).up().length(3).label("D1\n1N4148", loc="top")
    cathode, out, emitter = optocoupler(d, (5, 1))
    wire(d, cathode, (5, -1.5), (0, -1.5))
    d += elm.Dot().at((3.4, -1.5))
    port(d, (0, -1.5), "its 0 V", "left")
    ground_at = (emitter[0], emitter[1] - 0.9)
    wire(d, tuple(emitter), ground_at)
    ground(d, ground_at)
    collector(d, tuple(out), "GP2 shaft", v.SHAFT_SERIES_OHM, v.SHAFT_F)
    note(d, (8.6, -2.3), f"GP3 to GP5 (trim, thread break, jump) and GP6 to GP9 (needle code):\n"
         f"R3 {v.ohm(v.CONTACT_SERIES_OHM)}, C1 {v.farad(v.CONTACT_F)}")
    note(d, (-1.6, -2.3), "D1 lies across the LED, against reversal\nand the kick of a solenoid")
    return d


def buffered():
    """A signal that must not be loaded: a transistor drives the LED."""
    d = drawing()
    title(d, (-2, 6), "Buffered input, for every other signal: the machine feels 120 µA at 24 V")
    port(d, (4, 4), "the signal's own rail, fused (F2 0.1 A)", "left")
    wire(d, (4, 4), (6, 4))
    d += elm.Resistor().at((6, 4)).down().length(2).label("R1, as before", loc="bottom")
    cathode, out, emitter = optocoupler(d, (6, 2))
    transistor = elm.NFet().right().reverse().anchor("drain").at((6, -0.6))
    wire(d, cathode, (6, -0.6))
    d += transistor
    note(d, (6.3, -2.1), "Q1 2N7002", color="black", size=12)
    gate, source = transistor.absanchors["gate"], transistor.absanchors["source"]
    wire(d, tuple(source), (6, -3.6), (-0.2, -3.6))
    port(d, (-0.2, -3.6), "its 0 V", "left")
    gx, gy = tuple(gate)
    wire(d, (gx, gy), (2.6, gy))
    d += elm.Resistor().at((2.6, gy)).left().length(2.8).label(f"R4 {v.ohm(v.GATE_SERIES_OHM)}")
    port(d, (-0.2, gy), "machine signal", "left")
    for x, part, label, loc in (
        (2.6, elm.Resistor(), f"R5\n{v.ohm(v.GATE_DOWN_OHM)}", "top"),
        (4, elm.Zener().reverse(), "Z1\n12 V", "bottom"),
    ):
        d += elm.Dot().at((x, gy))
        d += part.at((x, gy)).down().length(gy + 3.6).label(label, loc=loc)
        d += elm.Dot().at((x, -3.6))
    down_at = (emitter[0], emitter[1] - 0.9)
    wire(d, tuple(emitter), down_at)
    ground(d, down_at)
    collector(d, tuple(out), "GP2 shaft", v.SHAFT_SERIES_OHM, v.SHAFT_F)
    note(d, (8.6, -2.8), "The 12 V zener guards the gate. A slow contact takes the\nfilter of the picture above.")
    return d


def sensors():
    """Sensors of the board's own, and how they are wired."""
    d = drawing()
    title(d, (-1, 3.6), "Own shaft sensor, fed from the board (no opto-coupler needed, cable up to 1 m)")
    box(d, (-0.8, -2.9), (6.3, 2.8), "at the shaft, one of the two")
    block(d, (-0.4, 0.2), (3.8, 1.8), "Hall switch\nopen drain, 3.3 V")
    block(d, (-0.4, -2.2), (3.8, -0.6), "slotted opto,\nopen collector, 3.3 V")
    wire(d, (3.8, 1), (5.2, 1), (5.2, 0), (8, 0))
    wire(d, (3.8, -1.4), (5.2, -1.4), (5.2, 0))
    d += elm.Dot().at((5.2, 0))
    d += elm.Dot().at((8, 0))
    d += elm.Resistor().at((8, 0)).up().length(2.2).label(f"R2 {v.ohm(v.COLLECTOR_OHM)}", loc="bottom")
    port(d, (8, 2.2), "3.3 V, to the sensor through 47 Ω")
    d += elm.Resistor().at((8, 0)).right().length(3.2).label(f"R3 {v.ohm(v.SHAFT_SERIES_OHM)}", loc="bottom")
    d += elm.Dot().at((11.2, 0))
    down(d, elm.Capacitor(), (11.2, 0), 2.2, f"C1 {v.farad(v.SHAFT_F)}", loc="bottom")
    d += elm.Dot().at((7.2, 0))
    down(d, elm.Zener().reverse(), (7.2, 0), 2.2, "ESD diode\n3.3 V", loc="bottom")
    wire(d, (11.2, 0), (13, 0))
    port(d, (13, 0), "GP2 shaft")
    return d


def needle():
    """The high-impedance tap of the needle-position potentiometer."""
    d = drawing()
    title(d, (-3, 3.6), "Needle-position tap: 1/4 of the voltage, 1.32 MΩ load")
    box(d, (-3, -3.6), (0.6, 3), "in the machine")
    d += elm.Dot(open=True).at((-1.6, 2))
    d += elm.Potentiometer().at((-1.6, 2)).down().length(4)
    d += elm.Dot(open=True).at((-1.6, -2))
    note(d, (-1.4, 2.2), "its supply")
    note(d, (-1.4, -2.3), "its 0 V")
    wire(d, (-1.05, 0), (1.2, 0))
    note(d, (0.7, 0.4), "wiper", color="#0b4f8a")
    d += elm.Resistor().at((1.2, 0)).right().length(3.4).label(f"3 × {v.ohm(v.TAP_OHM)}", loc="bottom")
    d += elm.Dot().at((4.6, 0))
    wire(d, (4.6, 0), (8.9, 0))
    down(d, elm.Resistor(), (4.6, 0), 2.6, v.ohm(v.TAP_OHM), loc="top")
    d += elm.Dot().at((5.8, 0))
    down(d, elm.Capacitor(), (5.8, 0), 2.6, v.farad(v.TAP_F), loc="bottom")
    d += elm.Dot().at((7.8, 0))
    d += elm.Diode().at((7.8, 0)).up().length(2).label("low-leakage\ndouble diode", loc="top")
    port(d, (7.8, 2), "3.3 V")
    down(d, elm.Diode().reverse(), (7.8, 0), 2.6, "")
    amplifier = elm.Opamp(leads=True).right().flip().anchor("in2").at((8.9, 0))
    d += amplifier
    minus, out = (tuple(amplifier.absanchors[name]) for name in ("in1", "out"))
    wire(d, minus, (minus[0], -2.1), (out[0], -2.1), out)
    d += elm.Dot().at(out)
    d += elm.Resistor().at(out).right().length(2.8).label("1 kΩ", loc="bottom")
    x = out[0] + 2.8
    d += elm.Dot().at((x, out[1]))
    down(d, elm.Capacitor(), (x, out[1]), 2.1, "10 nF", loc="bottom")
    wire(d, (x, out[1]), (x + 1.4, out[1]))
    port(d, (x + 1.4, out[1]), "GP26 needle level")
    note(d, (8.9, -3.2), "CMOS op-amp, rail to rail, on 3.3 V")
    return d


PICTURES = {
    "input-opto": opto,
    "input-buffered": buffered,
    "sensors": sensors,
    "needle-level": needle,
}
