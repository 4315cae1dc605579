/**
 * Exhaustive interleaving of an interrupt with a race-test program: the interrupt is set
 * pending before the program's k-th instruction, for every k; then before two of them.
 *
 * The program speaks through eight words at the symbol RACE_RESULT: {@link RESULT_WORDS}.
 * Interrupts may come while `phase` is OPEN. When it is DONE every edge that was pushed
 * must have been popped or counted as missed, nothing out of order, no panic, and the
 * program must have counted as many interrupts as came. The runner writes `burst`: edges
 * that one interrupt pushes.
 *
 * Instructions of the handler count as well, so the second of a pair also comes while the
 * first is served, and then waits until the handler has returned.
 *
 * One core, as the silicon is used: an interrupt comes between two instructions and
 * nowhere else.
 */

import { Chip, FIRST_IRQ_EXCEPTION, RAM_START } from './chip.mjs';
import { Pcg32 } from './random.mjs';
import { Snapshot } from './snapshot.mjs';

/** The words at RACE_RESULT, in their order. */
export const RESULT_WORDS = [
  ...['phase', 'burst', 'pushed', 'popped', 'missed', 'disorder', 'interrupts', 'panics'],
];

const [PHASE, BURST] = [0, 1];
const OPEN = 1;
const DONE = 3;
const RAM_BYTES = 264 * 1024;
/** A run that takes so many times the instructions of the undisturbed one hangs. */
const PATIENCE = 50;
/** Instructions within which the program must open. */
const START_LIMIT = 10_000_000;
const FAILURES_TOLD = 10;

/**
 * @typedef {object} Failure
 * @property {number[]} at Instructions before which the interrupt came, from 0.
 * @property {string[]} places Where in the program those were.
 * @property {string} why
 * @property {Object<string, number>} result The words.
 */

/**
 * @typedef {object} Found
 * @property {number} runs
 * @property {number} entries Times that the handler was entered.
 * @property {number} failed Runs that did not hold.
 * @property {Failure[]} failures The first of them.
 */

/** A program, and an interrupt to disturb it. */
export class Interleaving {
  /** Instructions of the undisturbed run while interrupts may come. */
  instructions = 0;

  #elf;
  #chip;
  #irq;
  #resultAt;
  #start;
  #entries = 0;

  /**
   * @param {object} options
   * @param {import('./elf.mjs').Elf} options.elf The program, linked to 0x10000100.
   * @param {number} options.irq The interrupt that is set pending.
   * @param {number} options.burst Edges that one interrupt pushes.
   * @throws {Error} When the program does not even run undisturbed.
   */
  constructor({ elf, irq, burst }) {
    this.#elf = elf;
    this.#irq = irq;
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
    this.#open();
    this.#chip.rp.sramView.setUint32(this.#resultAt + 4 * BURST, burst, true);
    this.#start = new Snapshot(this.#chip);
    const why = this.#run([], START_LIMIT);
    if (why) throw new Error(`the program fails undisturbed: ${why}`);
  }

  /**
   * Disturbs every instruction once.
   * @param {(done: number, all: number) => void} [progress]
   * @returns {Found}
   */
  singles(progress = () => {}) {
    return this.#all(this.instructions, (k) => [k], progress);
  }

  /**
   * Disturbs pairs of instructions, the second up to a whole undisturbed run after the
   * first: all of them, or `budget` of them drawn by `seed`. A second one that would come
   * after interrupts are closed is left out of its run.
   * @param {number} budget
   * @param {number} seed
   * @param {(done: number, all: number) => void} [progress]
   * @returns {Found}
   */
  pairs(budget, seed, progress = () => {}) {
    const n = this.instructions;
    const pairOf = (k) => [Math.floor(k / n), Math.floor(k / n) + 1 + (k % n)];
    if (n * n <= budget) return this.#all(n * n, pairOf, progress);
    const random = new Pcg32(seed, 0x9a1);
    return this.#all(budget, () => pairOf(random.nextU32() % (n * n)), progress);
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

  /** Runs the program until interrupts may come. */
  #open() {
    for (let k = 0; this.#word(PHASE) !== OPEN; k++) {
      const problem = k < START_LIMIT ? this.#step() : 'its phase is never OPEN';
      if (problem) throw new Error(`the program fails before it begins: ${problem}`);
    }
  }

  /** Runs from the start with the interrupt at `moments`; what went wrong, or null. */
  #run(moments, limit, places = []) {
    this.#start.restore();
    this.#entries = 0;
    const { core } = this.#chip;
    const isUndisturbed = moments.length === 0;
    for (let k = 0; k < limit; k++) {
      const phase = this.#word(PHASE);
      if (phase === DONE) return this.#verdict();
      if (phase === OPEN && isUndisturbed) this.instructions = k + 1;
      if (phase === OPEN && moments.includes(k)) {
        places.push(this.#elf.placeOf(core.PC));
        this.#chip.pend(this.#irq);
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

  #verdict() {
    const { pushed, popped, missed, disorder, interrupts, panics } = this.#result();
    if (panics !== 0) return 'it panicked';
    if (disorder !== 0) return 'out of order';
    if (interrupts !== this.#entries) return 'an interrupt was not counted';
    if (pushed !== popped + missed) return 'pushed is not popped and missed';
    return null;
  }

  #word(n) {
    return this.#chip.rp.sramView.getUint32(this.#resultAt + 4 * n, true);
  }

  #result() {
    return Object.fromEntries(RESULT_WORDS.map((name, n) => [name, this.#word(n)]));
  }
}
