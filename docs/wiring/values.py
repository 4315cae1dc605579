"""The component values of docs/WIRING.md, and the figures that follow from them.

Purpose: one place for every value; the pictures take their labels from here, and running
this file prints the figures that docs/WIRING.md shows. Every rule that the document
states is asserted here, so a value that breaks one cannot be drawn.

It is not a circuit simulator: each figure is the one formula that stands in the document.

Sources: UM10204 is NXP's I2C-bus specification; RP2040 is that chip's data sheet; "from
memory" and "common practice" are said where they apply.
"""

import os
import re
from math import log

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))



def setting(name):
    """The default of a setting of the board."""
    with open(os.path.join(ROOT, "firmware", "core", "src", "settings.rs"), encoding="utf-8") as file:
        return int(re.search(rf"^ +{name}: ([\d_]+),$", file.read(), re.M)[1])


# --- the supply -----------------------------------------------------------------------
RAILS_V = (24, 12, 5)
RAIL_LOW = {24: 0.90, 12: 0.90, 5: 0.95}  # lowest sound rail, of nominal; common practice
RAIL_HIGH = {24: 1.10, 12: 1.10, 5: 1.05}
LOGIC_V = 3.3
SCHOTTKY_V = 0.35  # forward drop at 0.1 A; from memory
LOAD_MA = 80.0  # module 30, display 30, inputs 10, the rest 10; from memory: measure yours
LOAD_MW = 5.0 * LOAD_MA  # behind the 5 V regulator
EFFICIENCY = 0.80  # of the switching regulator at this load; from memory
PART_LOW_V = 3.0  # lowest supply of the parts: flash 2.7 V and a margin; from memory
DROPOUT_V = 0.2  # of the 3.3 V regulator at 80 mA; from memory
BUCK_LOW_V = 6.5  # lowest input of the switching regulator for 5 V out; from memory
ESR_OHM = 0.1  # of the hold-up capacitor, old and cold; from memory
TVS = {24: (28.0, 45.4), 12: (15.0, 24.4), 5: (6.0, 10.3)}  # stand-off, clamping, V; from memory

# Hold-up: capacitor, its rating, the inrush resistor, the bleeder.
BEHIND_UF, BEHIND_V, BEHIND_INRUSH_OHM, BEHIND_BLEEDER_OHM = 4_700, 10, 1.0, 2_200
# The same place on a 5 V rail: charged gently, discharged through a Schottky diode.
FIVE_UF, FIVE_V, FIVE_CHARGE_OHM, FIVE_BLEEDER_OHM = 15_000, 10, 22.0, 1_000
AHEAD_UF, AHEAD_V, AHEAD_INRUSH_OHM, AHEAD_BLEEDER_OHM = 330, 63, 10.0, 10_000

# The power-fail comparator: divider, feedback, reference, filter.
REFERENCE_V = 1.24  # a usual reference of such comparators; from memory
SENSE = {24: (150e3, 10e3, 330e3), 12: (68e3, 10e3, 270e3), 5: (26.1e3, 10e3, 820e3)}
SENSE_F = 10e-9
TOLERANCE = 0.01  # of each resistor and of the reference

# --- inputs ---------------------------------------------------------------------------
LED_V, LED_LEAST_V, LED_MOST_V = 1.2, 1.0, 1.4  # 817-type; data sheet, from memory
LED_MA = 5.0  # where the current transfer ratio is specified
LED_OHM = {24: 3_900, 12: 1_800, 5: 560}
CTR_LEAST, CTR_AGED, CTR_WARM, CTR_SATURATED = 0.5, 0.5, 0.8, 0.8
COLLECTOR_OHM = 4_700
PAD_PULL_UP_OHM = 50e3  # strongest internal pull-up; RP2040
SHAFT_SERIES_OHM, SHAFT_F, SHAFT_DEBOUNCE_US = 1e3, 1e-9, setting("shaft_debounce_us")
CONTACT_SERIES_OHM, CONTACT_F, CONTACT_DEBOUNCE_US = 10e3, 47e-9, setting("contact_debounce_us")
GATE_SERIES_OHM, GATE_DOWN_OHM, GATE_F = 100e3, 1e6, 100e-12
GATE_ZENER_V = 12

# --- needle position, bus, panel ------------------------------------------------------
TAP_OHM = 330e3  # four alike: three above, one below
TAP_F, NEEDLE_DEBOUNCE_MS = 4.7e-9, setting("needle_debounce_ms")
POT_OHM = 10e3  # the machine's own potentiometer, as an example
CLAMP_V = 0.6
BUS_OHM, BUS_PF, BUS_RISE_NS, BUS_SINK_MA, BUS_LOW_V = 2_200, 100, 300, 3.0, 0.4  # UM10204
STATUS_OHM, STATUS_LED_V = 680, 2.0


def of(value, unit):
    """A value as it is printed on a part: 4.7 kΩ, 100 nF."""
    for factor, prefix in ((1e6, "M"), (1e3, "k"), (1, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n")):
        if value >= factor * 0.9999:
            return f"{value / factor:.4g} {prefix}{unit}"
    return f"{value / 1e-12:.4g} p{unit}"


def ohm(value):
    """A resistance."""
    return of(value, "Ω")


def farad(value):
    """A capacitance."""
    return of(value, "F")


def threshold(rail):
    """Power-fail: warning (falling), rise back to sound, lowest and highest of them, V."""
    top, bottom, feedback = SENSE[rail]
    hysteresis = LOGIC_V * top / feedback
    rising = REFERENCE_V * (1 + top / bottom + top / feedback)
    # Reference and both resistors at their limits, to first order.
    spread = TOLERANCE + 2 * TOLERANCE * top / (top + bottom)
    falling = rising - hysteresis
    return falling, rising, falling * (1 - spread), rising * (1 + spread)


def led_ma(rail, high):
    """Current of the opto-coupler's LED at the lowest or highest sound rail, mA."""
    if high:
        return (rail * RAIL_HIGH[rail] - LED_LEAST_V) / LED_OHM[rail] * 1e3
    return (rail * 0.9 - LED_MOST_V) / LED_OHM[rail] * 1e3


def hold_up_uf(volts, lowest, ohms, aged=0.8 * 0.8 * 0.9, needed_s=0.040):
    """Needed capacitance at constant current, as `shaftbook hold-up` has it, µF."""
    return LOAD_MA / 1e3 * needed_s / (volts - lowest - LOAD_MA / 1e3 * ohms) / aged * 1e6


def figures():
    """Lines `what: figure`, each rule asserted."""
    lowest_ldo = PART_LOW_V + DROPOUT_V
    for rail in RAILS_V:
        falling, rising, least, most = threshold(rail)
        sound = rail * RAIL_LOW[rail]
        assert most < sound, f"{rail} V: a sound rail would not end the warning"
        assert TVS[rail][0] >= rail * RAIL_HIGH[rail], f"{rail} V: the TVS conducts"
        yield (f"{rail} V rail: warning below {falling:.2f} V (least {least:.2f}), "
               f"sound above {rising:.2f} V (most {most:.2f}; rail at least {sound:.2f})")
    top, bottom, _ = SENSE[24]
    sense_us = top * bottom / (top + bottom) * SENSE_F * 1e6
    assert sense_us < 500
    yield f"filter of the comparator, 24 V: {sense_us:.0f} µs"

    behind_v = 5.0 * 0.97 - SCHOTTKY_V
    five_v = threshold(5)[2] - SCHOTTKY_V
    ahead_v = threshold(24)[2] - 2 * SCHOTTKY_V
    yield f"V1 behind the regulator: {behind_v:.2f} V; on a 5 V rail: {five_v:.2f} V; ahead, 24 V: {ahead_v:.2f} V"
    behind = hold_up_uf(behind_v, lowest_ldo, BEHIND_INRUSH_OHM + ESR_OHM)
    five = hold_up_uf(five_v, lowest_ldo + SCHOTTKY_V, ESR_OHM)
    inside = BUCK_LOW_V + LOAD_MW / 1e3 / EFFICIENCY / BUCK_LOW_V * (AHEAD_INRUSH_OHM + ESR_OHM)
    ms_per_uf = (ahead_v**2 - inside**2) * EFFICIENCY / (2 * LOAD_MW) * BUCK_LOW_V / inside
    ahead = 40.0 / ms_per_uf / (0.8 * 0.8 * 0.9)
    assert behind <= BEHIND_UF and five <= FIVE_UF and ahead <= AHEAD_UF, (behind, five, ahead)
    yield (f"hold-up of 40 ms to the end of life: {behind:.0f} µF behind the regulator, "
           f"{five:.0f} µF on a 5 V rail, {ahead:.0f} µF ahead of it at 24 V")
    for name, volts, ohms, micro, bleeder in (
        ("behind the regulator", 5.0 - SCHOTTKY_V, BEHIND_INRUSH_OHM, BEHIND_UF, BEHIND_BLEEDER_OHM),
        ("on a 5 V rail", 5.25 - SCHOTTKY_V, FIVE_CHARGE_OHM, FIVE_UF, FIVE_BLEEDER_OHM),
        ("ahead of it, 24 V", 26.4 - 2 * SCHOTTKY_V, AHEAD_INRUSH_OHM, AHEAD_UF, AHEAD_BLEEDER_OHM),
    ):
        farads = micro * 1e-6
        seconds = bleeder * farads * log(volts / 1.0)
        assert seconds < 60
        yield (f"{micro} µF {name}: inrush at most {volts / ohms:.2f} A, "
               f"time constant {ohms * farads * 1e3:.1f} ms, "
               f"I²t {volts**2 / ohms * farads / 2:.3f} A²s; {farads * volts**2 / 2 * 1e3:.0f} mJ stored; "
               f"to 1 V in {seconds:.0f} s through {ohm(bleeder)}, which takes "
               f"{volts / bleeder * 1e3:.1f} mA and {volts**2 / bleeder * 1e3:.0f} mW")

    for rail in RAILS_V:
        low, high = led_ma(rail, False), led_ma(rail, True)
        assert low >= LED_MA and high < 20
        yield (f"LED at {rail} V through {ohm(LED_OHM[rail])}: {low:.1f} to {high:.1f} mA, "
               f"{high**2 * LED_OHM[rail] / 1e3:.0f} mW in the resistor")
    carried = LED_MA * CTR_LEAST * CTR_AGED * CTR_WARM * CTR_SATURATED
    pulled = (LOGIC_V - 0.4) * (1 / COLLECTOR_OHM + 1 / PAD_PULL_UP_OHM) * 1e3
    assert carried > pulled
    yield f"collector: {carried:.2f} mA at the end of life, {pulled:.2f} mA needed"
    for name, series, farads, debounce in (
        ("shaft", SHAFT_SERIES_OHM, SHAFT_F, SHAFT_DEBOUNCE_US),
        ("contacts", CONTACT_SERIES_OHM, CONTACT_F, CONTACT_DEBOUNCE_US),
    ):
        us = (COLLECTOR_OHM + series) * farads * 1e6
        assert us <= debounce / 5, name
        yield f"filter, {name}: {us:.1f} µs, a fifth of the debounce time is {debounce / 5:.0f} µs"
    gate_us = GATE_SERIES_OHM * GATE_F * 1e6
    assert gate_us <= SHAFT_DEBOUNCE_US / 5
    # Above its voltage Z1 conducts: then R4 alone limits the current.
    through_z1 = (24 - GATE_ZENER_V) / GATE_SERIES_OHM
    load = max(24 / (GATE_SERIES_OHM + GATE_DOWN_OHM), through_z1) * 1e6
    yield f"buffer: takes {load:.0f} µA at 24 V; gate filter {gate_us:.0f} µs"

    total, source = 4 * TAP_OHM, 3 * TAP_OHM * TAP_OHM / (4 * TAP_OHM)
    tap_ms = source * TAP_F * 1e3
    error = POT_OHM / 4 / total * 100
    assert total >= 100e3 and tap_ms <= NEEDLE_DEBOUNCE_MS / 5
    yield (f"needle tap: {ohm(total)} in all, {ohm(source)} source, filter {tap_ms:.2f} ms, "
           f"a {ohm(POT_OHM)} potentiometer is moved by at most {error:.2f} %; "
           f"full scale {LOGIC_V * 4:.1f} V, {(30 - LOGIC_V - CLAMP_V) / (3 * TAP_OHM) * 1e6:.0f} µA into the clamp at 30 V")

    rise = 0.8473 * BUS_OHM * BUS_PF * 1e-3
    least = (LOGIC_V - BUS_LOW_V) / BUS_SINK_MA * 1e3
    most_pf = BUS_RISE_NS / (0.8473 * BUS_OHM) * 1e3
    assert rise <= BUS_RISE_NS and BUS_OHM >= least
    yield (f"bus: {rise:.0f} ns with {ohm(BUS_OHM)} and {BUS_PF} pF, {most_pf:.0f} pF at most; "
           f"all pull-ups together at least {least:.0f} Ω")
    yield f"status LED: {(LOGIC_V - STATUS_LED_V) / STATUS_OHM * 1e3:.1f} mA"


if __name__ == "__main__":
    print("\n".join(figures()))
