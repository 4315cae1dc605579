/**
 * Exhaustive interleaving of one interrupt with a program: the interrupt is set pending
 * before the program's k-th instruction, for every k; then before two of them.
 *
 * The program tells what came of it in five words at the symbol RACE_RESULT: pushed,
 * popped, missed, order_ok, done. A run has held when it is done, its order is right, and
 * what was pushed was popped or missed. Instructions of the handler count as well, so the
 * second of a pair also comes while the first is served.
 *
 * Sequentially consistent, one core, as the silicon is: an interrupt comes between two
 * instructions and nowhere else.
 */

import { Chip, FIRST_IRQ_EXCEPTION, RAM_START } from './chip.mjs';
import { Pcg32 } from './random.mjs';
import { Snapshot } from './snapshot.mjs';

/** The words at RACE_RESULT, in their order. */
export const RESULT_WORDS = ['pushed', 'popped', 'missed', 'order_ok', 'done'];

const RAM_BYTES = 264 * 1024;
/** A run that takes so many times the instructions of the undisturbed one hangs. */
const PATIENCE = 20;
const FAILURES_TOLD = 10;

/**
 * @typedef {object} Failure
 * @property {number[]} at Instructions before which the interrupt came, from 0.
 * @property {string[]} places Where in the program those were.
 * @property {string} why
 * @property {Object<string, number>} result The words.
 */

/** A program, and an interrupt to disturb it. */
export class Interleaving {
  /** Instructions of the undisturbed run. */
  instructions = 0;

  #elf;
  #chip;
  #resultAt;
  #start;
  #disturb;
  #entries = 0;

  /**
   * @param {object} options
   * @param {import('./elf.mjs').Elf} options.elf
   * @param {number} [options.irq] Set pending; 13 is the pins' interrupt.
   * @param {number} [options.pin] Instead: the level of this pin changes, first to low.
   * @param {string} [options.from] Function from whose beginning instructions count.
   * @throws {Error} When the program does not even run undisturbed.
   */
  constructor({ elf, irq = 13, pin, from = 'main' }) {
    this.#elf = elf;
    this.#resultAt = elf.addressOf('RACE_RESULT') - RAM_START;
    const entered = (exception) => {
      if (exception === irq + FIRST_IRQ_EXCEPTION) this.#entries += 1;
    };
    this.#chip = new Chip({
      flash: elf.flash(),
      ram: new Uint8Array(RAM_BYTES),
      start: 'vectors',
      watch: { raised() {}, lowered() {}, entered, left() {} },
      complaints: new Map(),
    });
    const gpio = this.#chip.rp.gpio[pin];
    gpio?.setInputValue(true);
    this.#disturb = gpio
      ? () => gpio.setInputValue(!gpio.rawInputValue)
      : () => this.#chip.pend(irq);
    this.#runTo(elf.addressOf(from));
    this.#start = new Snapshot(this.#chip);
    const why = this.#run([], Infinity);
    if (why) throw new Error(`the program fails undisturbed: ${why}`);
  }

  /** Disturbs every instruction once. @param {(done: number, all: number) => void} [progress] */
  singles(progress = () => {}) {
    return this.#all(this.instructions, (k) => [k], progress);
  }

  /**
   * Disturbs pairs of instructions: all of them, or `budget` of them drawn by `seed`.
   * @param {number} budget
   * @param {number} seed
   * @param {(done: number, all: number) => void} [progress]
   */
  pairs(budget, seed, progress = () => {}) {
    const n = this.instructions;
    const all = (n * (n - 1)) / 2;
    if (all <= budget) {
      const pairs = [];
      for (let a = 0; a < n; a++) for (let b = a + 1; b < n; b++) pairs.push([a, b]);
      return this.#all(all, (k) => pairs[k], progress);
    }
    const random = new Pcg32(seed, 0x9a1);
    const draw = () => {
      const a = random.nextU32() % n;
      const b = random.nextU32() % (n - 1);
      return [a, b < a ? b : b + 1].sort((x, y) => x - y);
    };
    return this.#all(budget, draw, progress);
  }

  #all(runs, momentsOf, progress) {
    const found = { runs, entries: 0, failed: 0, failures: [] };
    for (let k = 0; k < runs; k++) {
      const moments = momentsOf(k);
      const places = [];
      const why = this.#run(moments, this.instructions * PATIENCE, places);
      found.entries += this.#entries;
      if (why) {
        found.failed += 1;
        if (found.failures.length < FAILURES_TOLD) {
          found.failures.push({ at: moments, places, why, result: this.#result() });
        }
      }
      if ((k + 1) % 1_000 === 0) progress(k + 1, runs);
    }
    return found;
  }

  /** Runs from the start with the interrupt at `moments`; what went wrong, or null. */
  #run(moments, limit, places = []) {
    this.#start.restore();
    this.#entries = 0;
    const { core } = this.#chip;
    let next = 0;
    for (let k = 0; k < limit; k++) {
      if (k === moments[next]) {
        places.push(this.#elf.placeOf(core.PC));
        this.#disturb();
        next += 1;
      }
      if (
        this.#word(RESULT_WORDS.indexOf('done')) !== 0 &&
        next >= moments.length &&
        core.IPSR === 0
      ) {
        if (moments.length === 0) this.instructions = k;
        return verdict(this.#result());
      }
      const problem = this.#step();
      if (problem) return problem;
    }
    return 'it does not end';
  }

  #step() {
    const { core } = this.#chip;
    if (core.waiting) {
      if (!this.#chip.hasWakeUp) return 'it sleeps for ever';
      core.waiting = false;
      core.interruptsUpdated = true;
    }
    core.executeInstruction();
    return this.#chip.isFaulting ? `hard fault at ${this.#elf.placeOf(core.PC)}` : null;
  }

  #runTo(address) {
    const { core } = this.#chip;
    const LIMIT = 10_000_000;
    for (let k = 0; (core.PC & ~1) !== address; k++) {
      const problem = k < LIMIT ? this.#step() : 'it never comes to where counting begins';
      if (problem) throw new Error(`the program fails before it begins: ${problem}`);
    }
  }

  #word(n) {
    return this.#chip.rp.sramView.getUint32(this.#resultAt + 4 * n, true);
  }

  #result() {
    return Object.fromEntries(RESULT_WORDS.map((name, n) => [name, this.#word(n)]));
  }
}

function verdict({ pushed, popped, missed, order_ok: isOrdered }) {
  if (isOrdered !== 1) return 'out of order';
  if (pushed !== popped + missed) return 'pushed is not popped and missed';
  return null;
}
