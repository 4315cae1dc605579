/**
 * A chip's state, to go back to: core, RAM, pins, single-cycle IO.
 *
 * Not in it: peripherals with alarms (timers, buses). A chip on which one is running is
 * refused.
 */

/** What a chip was like at one moment. */
export class Snapshot {
  #chip;
  #ram;
  #fields = [];
  #arrays = [];

  /**
   * @param {import('./chip.mjs').Chip} chip
   * @throws {Error} When a timer or a bus is running.
   */
  constructor(chip) {
    const { rp } = chip;
    if (rp.clock.nextAlarm !== null) {
      throw new Error('a program that is interleaved may use no timer and no bus');
    }
    this.#chip = chip;
    this.#ram = rp.sram.slice();
    for (const object of [chip, rp.core, rp.sio, rp.ppb, rp.clock, ...rp.gpio]) this.#keep(object);
  }

  /** Puts the chip back. */
  restore() {
    this.#chip.rp.sram.set(this.#ram);
    for (const [object, name, value] of this.#fields) object[name] = value;
    for (const [array, copy] of this.#arrays) copy.forEach((it, n) => (array[n] = it));
  }

  #keep(object) {
    for (const [name, value] of Object.entries(object)) {
      if (['number', 'boolean'].includes(typeof value) || value === null) {
        this.#fields.push([object, name, value]);
      } else if (Array.isArray(value) || value instanceof Uint32Array) {
        // Listeners and the like are not state.
        if ([...value].every((it) => typeof it === 'number'))
          this.#arrays.push([value, value.slice()]);
      }
    }
  }
}
