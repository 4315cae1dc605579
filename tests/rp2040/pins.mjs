/**
 * The board's pins, as a bench wires them: the same table as the image's own.
 *
 * Inputs are active low: an opto-coupler's transistor, a comparator or a button pulls a
 * line down that a resistor holds up.
 */

/** GPIO numbers of the two-wire bus. */
export const BUS_PINS = { sda: 16, scl: 17 };
/** GPIO number of the power-fail warning. */
export const POWER_FAIL_PIN = 10;
/** GPIO number of the status lamp; active high. */
export const LAMP_PIN = 18;
/** GPIO number of the buzzer; active high. */
export const BUZZER_PIN = 19;
/** GPIO numbers of the inputs, by the names that scripts and captures use. */
export const INPUT_PINS = new Map([
  ['shaft', 2],
  ['trim', 3],
  ['thread_break', 4],
  ['jump', 5],
  ['needle0', 6],
  ['needle1', 7],
  ['needle2', 8],
  ['needle3', 9],
  ['power_fail', POWER_FAIL_PIN],
  ['button_back', 11],
  ['button_next', 12],
  ['button_act', 13],
]);

/** ADC channel of the needle-position level: GP26. */
const NEEDLE_CHANNEL = 0;
/** The divider gives a quarter of the tap's voltage. */
const DIVIDER = 4;
/** Reference of the converter, mV. */
const REFERENCE_MV = 3_300;
/** Largest reading of the 12-bit converter. */
const ADC_MAX = 4_095;

/** What stands at the inputs, whether the board has its supply or not. */
export class Inputs {
  #active = new Map([...INPUT_PINS.keys()].map((name) => [name, false]));
  #needleMv = 0;
  #rp = null;

  /** Applies all levels to a new chip. @param {import('./chip.mjs').Chip} chip */
  attach(chip) {
    this.#rp = chip.rp;
    for (const [name, isActive] of this.#active) this.#drive(name, isActive);
    this.#driveNeedle();
  }

  /** The chip is gone; levels stay. */
  gone() {
    this.#rp = null;
  }

  /**
   * Sets an input.
   * @param {string} name One of {@link INPUT_PINS}.
   * @param {boolean} isActive Whether it is asserted (its wire low).
   */
  set(name, isActive) {
    this.#active.set(name, isActive);
    if (this.#rp) this.#drive(name, isActive);
  }

  /** Sets the needle-position voltage at the machine's tap. @param {number} mv */
  setNeedleMv(mv) {
    this.#needleMv = mv;
    if (this.#rp) this.#driveNeedle();
  }

  #drive(name, isActive) {
    this.#rp.gpio[INPUT_PINS.get(name)].setInputValue(!isActive);
  }

  #driveNeedle() {
    const reading = Math.round((this.#needleMv / DIVIDER / REFERENCE_MV) * ADC_MAX);
    this.#rp.adc.channelValues[NEEDLE_CHANNEL] = Math.min(reading, ADC_MAX);
  }
}

/** Records when an output was on. */
export class Output {
  /** @type {{at_us: number, on: boolean}[]} */
  changes = [];

  #pin;
  #nowUs;
  #isOn = false;

  /**
   * @param {number} pin GPIO number.
   * @param {() => number} nowUs
   */
  constructor(pin, nowUs) {
    this.#pin = pin;
    this.#nowUs = nowUs;
  }

  /** @param {import('./chip.mjs').Chip} chip */
  attach(chip) {
    const HIGH = 1;
    chip.rp.gpio[this.#pin].addListener((state) => this.#note(state === HIGH));
  }

  /** The chip is gone: nothing drives the pin. */
  gone() {
    this.#note(false);
  }

  #note(isOn) {
    if (isOn === this.#isOn) return;
    this.#isOn = isOn;
    this.changes.push({ at_us: this.#nowUs(), on: isOn });
  }
}
