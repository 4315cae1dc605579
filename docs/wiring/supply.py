"""The supply, its hold-up capacitor and the power-fail comparator."""

import schemdraw.elements as elm

import values as v
from common import block, box, down, drawing, ground, note, port, title, wire


def head(d):
    """Rail, fuse, reverse-polarity diode and TVS; gives the end of the wire, at (8.5, 0)."""
    port(d, (0, 0), "rail +", "left")
    d += elm.Fuse().at((0, 0)).right().length(2.6).label("F1 0.5 A T")
    d += elm.Dot().at((2.6, 0))
    wire(d, (2.6, 0), (3.4, 0))
    wire(d, (2.6, 0), (2.6, 1.6), (3.6, 1.6))
    port(d, (3.6, 1.6), "rail sense, to the power-fail comparator")
    d += elm.Schottky().at((3.4, 0)).right().length(2.6).label("D1 60 V 1 A", loc="bottom")
    wire(d, (6, 0), (8.5, 0))
    d += elm.Dot().at((7, 0))
    down(d, elm.Zener().reverse(), (7, 0), 2.6, "TVS1", loc="bottom")
    port(d, (0, -2.6), "rail 0 V", "left")
    wire(d, (0, -2.6), (1, -2.6))
    ground(d, (1, -2.6))


def supply():
    """The chain with the hold-up capacitor behind the switching regulator."""
    d = drawing()
    title(d, (-1, 3), "Supply, hold-up capacitor behind the 5 V regulator (12 V and 24 V rails)")
    head(d)
    block(d, (8.5, -0.9), (11.3, 0.9), "switching\nregulator\n5 V, 1 A")
    wire(d, (9.9, -0.9), (9.9, -2.6))
    ground(d, (9.9, -2.6))
    d += elm.Schottky().at((11.3, 0)).right().length(2.6).label("D2 40 V 1 A")
    wire(d, (13.9, 0), (20.3, 0))
    d += elm.Dot().at((14.5, 0))
    d += elm.Resistor().at((14.5, 0)).down().length(2.2).label(f"R1\n{v.ohm(v.BEHIND_INRUSH_OHM)}", loc="bottom")
    d += elm.Dot().at((14.5, -2.2))
    down(d, elm.Capacitor2(polar=True), (14.5, -2.2), 2.2, f"C1 {v.BEHIND_UF} µF\n{v.BEHIND_V} V", loc="top")
    wire(d, (14.5, -2.2), (16.6, -2.2))
    down(d, elm.Resistor(), (16.6, -2.2), 2.2, f"R2\n{v.ohm(v.BEHIND_BLEEDER_OHM)}", loc="bottom")
    d += elm.Dot().at((19.2, 0))
    down(d, elm.Capacitor(), (19.2, 0), 2.6, "10 µF", loc="top")
    block(d, (20.3, -0.9), (23, 0.9), "linear\nregulator\n3.3 V")
    wire(d, (21.65, -0.9), (21.65, -2.6))
    ground(d, (21.65, -2.6))
    wire(d, (23, 0), (26, 0))
    d += elm.Dot().at((24.4, 0))
    down(d, elm.Capacitor(), (24.4, 0), 2.6, "10 µF +\n100 nF each IC", loc="bottom")
    port(d, (26, 0), "3.3 V")
    note(d, (13.2, 1.5), "D2 keeps the charge for the board alone; R1 limits the inrush; R2 empties C1")
    return d


def supply_five():
    """A 5 V rail: no switching regulator, gentle charge."""
    d = drawing()
    title(d, (-1, 3), "Supply from a 5 V rail: charged gently, so that the rail does not dip")
    head(d)
    wire(d, (8.5, 0), (18.3, 0))
    d += elm.Dot().at((10.5, 0))
    d += elm.Resistor().at((10.5, 0)).down().length(2.4).label(f"R1\n{v.ohm(v.FIVE_CHARGE_OHM)}", loc="top")
    d += elm.Dot().at((13, 0))
    d += elm.Schottky().at((13, -2.4)).up().length(2.4).label("D3 20 V 1 A", loc="bottom")
    wire(d, (10.5, -2.4), (15.5, -2.4))
    d += elm.Dot().at((10.5, -2.4))
    d += elm.Dot().at((13, -2.4))
    down(d, elm.Capacitor2(polar=True), (10.5, -2.4), 2.2, f"C1 {v.FIVE_UF} µF\n{v.FIVE_V} V", loc="top")
    down(d, elm.Resistor(), (15.5, -2.4), 2.2, f"R2\n{v.ohm(v.FIVE_BLEEDER_OHM)}", loc="bottom")
    d += elm.Dot().at((17, 0))
    down(d, elm.Capacitor(), (17, 0), 2.6, "10 µF", loc="bottom")
    block(d, (18.3, -0.9), (21, 0.9), "linear\nregulator\n3.3 V")
    wire(d, (19.65, -0.9), (19.65, -2.6))
    ground(d, (19.65, -2.6))
    wire(d, (21, 0), (24, 0))
    d += elm.Dot().at((22.4, 0))
    down(d, elm.Capacitor(), (22.4, 0), 2.6, "10 µF +\n100 nF each IC", loc="bottom")
    port(d, (24, 0), "3.3 V")
    note(d, (8.9, -5.6), "C1 is charged through R1, and emptied into the board through D3; R2 empties it at rest")
    return d


def supply_ahead():
    """The chain with the hold-up capacitor ahead of the switching regulator."""
    d = drawing()
    title(d, (-1, 3), "Supply, hold-up capacitor ahead of the 5 V regulator (24 V rail)")
    head(d)
    d += elm.Schottky().at((8.5, 0)).right().length(2.6).label("D2 60 V 1 A")
    wire(d, (11.1, 0), (17.6, 0))
    d += elm.Dot().at((11.9, 0))
    d += elm.Resistor().at((11.9, 0)).down().length(2.2).label(f"R1\n{v.ohm(v.AHEAD_INRUSH_OHM)}", loc="bottom")
    d += elm.Dot().at((11.9, -2.2))
    down(d, elm.Capacitor2(polar=True), (11.9, -2.2), 2.2, f"C1 {v.AHEAD_UF} µF\n{v.AHEAD_V} V", loc="top")
    wire(d, (11.9, -2.2), (14, -2.2))
    down(d, elm.Resistor(), (14, -2.2), 2.2, f"R2\n{v.ohm(v.AHEAD_BLEEDER_OHM)}", loc="bottom")
    d += elm.Dot().at((16.4, 0))
    down(d, elm.Capacitor(), (16.4, 0), 2.6, "10 µF\n50 V", loc="top")
    block(d, (17.6, -0.9), (20.4, 0.9), "switching\nregulator\n5 V")
    wire(d, (19, -0.9), (19, -2.6))
    ground(d, (19, -2.6))
    wire(d, (20.4, 0), (22.6, 0))
    d += elm.Dot().at((21.5, 0))
    down(d, elm.Capacitor(), (21.5, 0), 2.6, "22 µF", loc="bottom")
    block(d, (22.6, -0.9), (25.3, 0.9), "linear\nregulator\n3.3 V")
    wire(d, (23.95, -0.9), (23.95, -2.6))
    ground(d, (23.95, -2.6))
    wire(d, (25.3, 0), (28, 0))
    d += elm.Dot().at((26.5, 0))
    down(d, elm.Capacitor(), (26.5, 0), 2.6, "10 µF +\n100 nF each IC", loc="bottom")
    port(d, (28, 0), "3.3 V")
    return d


def power_fail():
    """The comparator that gives the warning."""
    d = drawing()
    top, bottom, feedback = v.SENSE[24]
    title(d, (-1, 3.6), "Power-fail warning (values for a 24 V rail; the table has the others)")
    port(d, (0, 2), "rail sense", "left")
    wire(d, (0, 2), (1.5, 2))
    d += elm.Resistor().at((1.5, 2)).down().length(2.5).label(f"R3 {v.ohm(top)}", loc="top")
    d += elm.Dot().at((1.5, -0.5))
    down(d, elm.Resistor(), (1.5, -0.5), 2.7, f"R4 {v.ohm(bottom)}", loc="top")
    wire(d, (1.5, -0.5), (7.1, -0.5))
    d += elm.Dot().at((3.4, -0.5))
    down(d, elm.Capacitor(), (3.4, -0.5), 2.7, f"C2 {v.farad(v.SENSE_F)}", loc="bottom")
    d += elm.Dot().at((5.6, -0.5))
    comparator = elm.Opamp(leads=True).right().flip().anchor("in2").at((7.1, -0.5))
    d += comparator
    _, minus, out = (tuple(comparator.absanchors[name]) for name in ("in2", "in1", "out"))
    wire(d, minus, (6.6, minus[1]), (6.6, -3.2))
    port(d, (6.6, -3.2), f"reference {v.REFERENCE_V} V")
    # Feedback above.
    wire(d, (5.6, -0.5), (5.6, 1.6))
    d += elm.Resistor().at((5.6, 1.6)).right().length(5.8).label(f"R5 {v.ohm(feedback)}")
    wire(d, (11.4, 1.6), (11.4, out[1]))
    wire(d, out, (14, out[1]))
    d += elm.Dot().at((11.4, out[1]))
    d += elm.Dot().at((12.6, out[1]))
    d += elm.Resistor().at((12.6, out[1])).up().length(2.6).label("R6 10 kΩ", loc="bottom")
    port(d, (12.6, out[1] + 2.6), "3.3 V")
    port(d, (14, out[1]), "GP10, power fail (low: warning)")
    note(d, (9.9, -2.8), "open-drain comparator with reference,\nsupplied with the held-up 3.3 V")
    return d


PICTURES = {
    "supply": supply,
    "supply-five": supply_five,
    "supply-ahead": supply_ahead,
    "power-fail": power_fail,
}
